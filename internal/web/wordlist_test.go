package web

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"text/template/parse"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"passbell/templates"
)

// source is a page template and its parsed parts.
type source struct {
	name  string
	trees map[string]*parse.Tree
}

func pageSources(t *testing.T) []source {
	t.Helper()
	files, err := fs.Glob(templates.Pages, "pages/*.html")
	require.NoError(t, err)
	var out []source
	for _, f := range files {
		body, err := fs.ReadFile(templates.Pages, f)
		require.NoError(t, err)
		tree := parse.New(f)
		tree.Mode = parse.SkipFuncCheck
		trees := map[string]*parse.Tree{}
		_, err = tree.Parse(string(body), "{{", "}}", trees)
		require.NoError(t, err, f)
		out = append(out, source{f, trees})
	}
	return out
}

// each visits every node of a template.
func each(n parse.Node, visit func(parse.Node)) {
	visit(n)
	branch := func(b parse.BranchNode) {
		each(b.Pipe, visit)
		each(b.List, visit)
		if b.ElseList != nil {
			each(b.ElseList, visit)
		}
	}
	switch n := n.(type) {
	case *parse.ListNode:
		for _, c := range n.Nodes {
			each(c, visit)
		}
	case *parse.ActionNode:
		each(n.Pipe, visit)
	case *parse.PipeNode:
		for _, c := range n.Cmds {
			each(c, visit)
		}
	case *parse.CommandNode:
		for _, c := range n.Args {
			each(c, visit)
		}
	case *parse.TemplateNode:
		if n.Pipe != nil {
			each(n.Pipe, visit)
		}
	case *parse.IfNode:
		branch(n.BranchNode)
	case *parse.WithNode:
		branch(n.BranchNode)
	case *parse.RangeNode:
		branch(n.BranchNode)
	}
}

// filled stands where a template fills something in.
const filled = "\uFFFC"

// markup is a template's own HTML, every branch of it, with a sign where
// something is filled in.
func markup(n parse.Node, out *strings.Builder) {
	branch := func(b parse.BranchNode) {
		markup(b.List, out)
		if b.ElseList != nil {
			markup(b.ElseList, out)
		}
	}
	switch n := n.(type) {
	case *parse.ListNode:
		for _, c := range n.Nodes {
			markup(c, out)
		}
	case *parse.TextNode:
		out.Write(n.Text)
	case *parse.ActionNode:
		if len(n.Pipe.Decl) == 0 {
			out.WriteString(filled)
		}
	case *parse.IfNode:
		branch(n.BranchNode)
	case *parse.WithNode:
		branch(n.BranchNode)
	case *parse.RangeNode:
		branch(n.BranchNode)
	}
}

// heard are the attributes that people see or hear.
var heard = []string{"aria-label", "alt", "title", "placeholder", "aria-description", "data-title"}

// visible calls say with every piece of HTML that people see or hear.
func visible(t *testing.T, body string, say func(where, words string)) {
	t.Helper()
	z := html.NewTokenizer(strings.NewReader(body))
	within := ""
	for {
		switch z.Next() {
		case html.ErrorToken:
			return
		case html.TextToken:
			if within != "script" && within != "style" && within != "noscript" {
				say("text", strings.TrimSpace(string(z.Text())))
			}
		case html.StartTagToken, html.SelfClosingTagToken:
			tok := z.Token()
			within = tok.Data
			for _, a := range tok.Attr {
				if slices.Contains(heard, a.Key) {
					say(a.Key, a.Val)
				}
			}
		case html.EndTagToken:
			within = ""
		case html.CommentToken, html.DoctypeToken:
		}
	}
}

// Words that need no translation.
var noWords = map[string]bool{"passbell": true, "English": true, "Español": true}

func TestPagesSayEveryWordThroughT(t *testing.T) {
	t.Parallel()
	word := regexp.MustCompile(`\pL+`)
	for _, src := range pageSources(t) {
		for name, tree := range src.trees {
			if tree.Root == nil {
				continue
			}
			var body strings.Builder
			markup(tree.Root, &body)
			visible(t, body.String(), func(where, said string) {
				for _, w := range word.FindAllString(said, -1) {
					if !noWords[w] {
						t.Errorf("%s, %s: the %s %q stands outside of t", src.name, name, where, said)
						return
					}
				}
			})
		}
	}
}

// plainWord is what a string in a template may be outside of t: a class, a
// field's name or an address.
var plainWord = regexp.MustCompile(`^[a-z0-9_./%&?=#-]*$`)

// ofDomain are states and steps as the domain names them.
var ofDomain = map[string]bool{"handed out": true, "hand out": true, "give up": true, "GSM-7": true}

// templateKeys gives the sentences that templates say, and complains about
// strings that look like words and go round t.
func templateKeys(t *testing.T) map[string]bool {
	t.Helper()
	out := map[string]bool{}
	for _, src := range pageSources(t) {
		for _, tree := range src.trees {
			if tree.Root == nil {
				continue
			}
			keys := map[parse.Node]bool{}
			each(tree.Root, func(n parse.Node) {
				if s, ok := n.(*parse.StringNode); ok && !keys[n] && !plainWord.MatchString(s.Text) && !ofDomain[s.Text] {
					t.Errorf("%s: %q looks like words and is not said by t", src.name, s.Text)
				}
				c, ok := n.(*parse.CommandNode)
				if !ok {
					return
				}
				fn, ok := c.Args[0].(*parse.IdentifierNode)
				switch {
				case !ok:
				case fn.Ident == "t":
					s, ok := c.Args[1].(*parse.StringNode)
					if !ok {
						t.Errorf("%s: t needs its sentence written out: %s", src.name, c)
						return
					}
					keys[s], out[s.Text] = true, true
				case fn.Ident == "act":
					for _, at := range []int{3, 5} { // the label and what it is about
						if s, ok := c.Args[at].(*parse.StringNode); ok && s.Text != "" {
							t.Errorf("%s: the button %q is not said by t", src.name, s.Text)
						}
					}
				}
			})
		}
	}
	return out
}

// sayAgain are the functions that say words which were marked as a phrase.
var sayAgain = []string{"T", "state", "fate", "kind", "tell", "say", "columnsOf", "scriptWords"}

// goKeys gives the sentences that the package says.
func goKeys(t *testing.T) map[string]bool {
	t.Helper()
	out := map[string]bool{}
	files := goFiles(t, ".")
	maps.Copy(files, goFiles(t, filepath.Join("..", "paper")))
	for file, f := range files {
		for _, d := range f.Decls {
			within := ""
			if fn, ok := d.(*ast.FuncDecl); ok {
				within = fn.Name.Name
			}
			ast.Inspect(d, func(n ast.Node) bool {
				call, ok := n.(*ast.CallExpr)
				if !ok {
					return true
				}
				method, isMethod := call.Fun.(*ast.SelectorExpr)
				fn, isFunc := call.Fun.(*ast.Ident)
				says := isMethod && (method.Sel.Name == "t" || method.Sel.Name == "T") // T is what the sheets say by
				if !says && (!isFunc || fn.Name != "phrase") {
					return true
				}
				if key, ok := literal(call.Args[0]); ok {
					out[key] = true
				} else if !slices.Contains(sayAgain, within) {
					t.Errorf("%s, %s: t needs its sentence written out", file, within)
				}
				return true
			})
		}
	}
	script, err := scriptKeys()
	require.NoError(t, err)
	require.NotEmpty(t, script)
	for _, key := range script {
		out[key] = true
	}
	return out
}

func literal(e ast.Expr) (string, bool) {
	lit, ok := e.(*ast.BasicLit)
	if !ok || lit.Kind != token.STRING {
		return "", false
	}
	s, err := strconv.Unquote(lit.Value)
	return s, err == nil
}

// goFiles parses the files of a folder that are no tests.
func goFiles(t *testing.T, dir string) map[string]*ast.File {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "*.go"))
	require.NoError(t, err)
	out := map[string]*ast.File{}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		out[name] = f
	}
	return out
}

// verbs names the places of a format, sorted: "1d 2s".
func verbsOf(format string) string {
	var out []string
	n := 0
	for _, m := range verb.FindAllStringSubmatch(format, -1) {
		if m[2] == "%" {
			continue
		}
		n++
		at := strconv.Itoa(n)
		if m[1] != "" {
			at = m[1]
		}
		out = append(out, at+m[2])
	}
	slices.Sort(out)
	return strings.Join(slices.Compact(out), " ")
}

// checkWords tells what is wrong with one line of a words file.
func checkWords(key string, said any) error {
	switch said := said.(type) {
	case string:
		if verbsOf(said) != verbsOf(key) {
			return fmt.Errorf("%q has other verbs than %q", said, key)
		}
		if said == "" {
			return fmt.Errorf("%q has no words", key)
		}
	case map[string]any:
		if len(said) != 2 || said["one"] == nil || said["other"] == nil {
			return fmt.Errorf("%q needs the forms one and other", key)
		}
		for form, words := range said {
			words, ok := words.(string)
			if !ok {
				return fmt.Errorf("%q has no words for %s", key, form)
			}
			number := strconv.Itoa(counted(key)) + "d"
			want, got := strings.Fields(verbsOf(key)), strings.Fields(verbsOf(words))
			if form == "one" && !slices.Contains(got, number) { // "one pedido" may leave its number out
				want = slices.DeleteFunc(want, func(v string) bool { return v == number })
				if len(got) > 0 && !strings.Contains(words, "%[") {
					return fmt.Errorf("%q leaves a number out, so the others need their places: %%[2]s", words)
				}
			}
			if !slices.Equal(got, want) {
				return fmt.Errorf("%q has other verbs than %q", words, key)
			}
		}
	default:
		return fmt.Errorf("%q is neither a sentence nor forms by number", key)
	}
	return nil
}

func TestEverySentenceStandsInEveryLanguage(t *testing.T) {
	t.Parallel()
	used := templateKeys(t)
	maps.Copy(used, goKeys(t))
	english, err := readWords("en")
	require.NoError(t, err)
	for key, said := range english {
		require.NoError(t, checkWords(key, said), "en.toml")
		require.IsType(t, map[string]any{}, said, "en.toml holds only what changes with a number: %q", key)
		require.True(t, used[key], "en.toml: nobody says %q", key)
	}
	for _, l := range languages[1:] {
		t.Run(l.Code, func(t *testing.T) {
			t.Parallel()
			said, err := readWords(l.Code)
			require.NoError(t, err)
			section, _ := said[elsewhere].(map[string]any)
			delete(said, elsewhere)
			var missing []string
			for key := range used {
				words, ok := said[key]
				if !ok {
					words, ok = section[key] // said here and elsewhere
				}
				if !ok {
					missing = append(missing, strconv.Quote(key))
					continue
				}
				if err := checkWords(key, words); err != nil {
					t.Errorf("%s.toml: %v", l.Code, err)
				}
				_, counts := english[key]
				if _, forms := words.(map[string]any); counts && !forms {
					t.Errorf("%s.toml: %q changes with its number in English and not here", l.Code, key)
				}
			}
			slices.Sort(missing)
			if len(missing) > 0 {
				t.Errorf("%s.toml lacks %d sentences:\n%s", l.Code, len(missing), strings.Join(missing, "\n"))
			}
			for key := range said {
				if !used[key] {
					t.Errorf("%s.toml: nobody says %q", l.Code, key)
				}
			}
			spoken := literalsElsewhere(t)
			for key, words := range section {
				if err := checkWords(key, words); err != nil {
					t.Errorf("%s.toml, %s: %v", l.Code, elsewhere, err)
				}
				if said[key] != nil {
					t.Errorf("%s.toml: %q stands there twice", l.Code, key)
				}
				for piece := range strings.SplitSeq(verb.ReplaceAllString(key, filled), filled) {
					if piece = strings.TrimSpace(piece); len(piece) > 3 && !isSpoken(spoken, piece) {
						t.Errorf("%s.toml, %s: no part of passbell says %q of %q", l.Code, elsewhere, piece, key)
					}
				}
			}
		})
	}
}

// isSpoken tells whether words stand in the code, in one piece or put together
// from two.
func isSpoken(spoken []byte, words string) bool {
	if bytes.Contains(spoken, []byte(words)) {
		return true
	}
	for i, r := range words {
		if r == ' ' && bytes.Contains(spoken, []byte(words[:i])) && bytes.Contains(spoken, []byte(words[i:])) {
			return true
		}
	}
	return false
}

// literalsElsewhere gives the strings of the packages whose sentences the pages
// show.
func literalsElsewhere(t *testing.T) []byte {
	t.Helper()
	var out bytes.Buffer
	for _, pkg := range []string{"desk", "night", "match", "plan", "phone", "book", "wording", "dispatch", "store", "inbox", "reading/vehicles", "web"} {
		for _, f := range goFiles(t, filepath.Join("..", pkg)) {
			ast.Inspect(f, func(n ast.Node) bool {
				if e, ok := n.(ast.Expr); ok {
					if s, ok := literal(e); ok {
						out.WriteString(s + "\x00")
					}
				}
				return true
			})
		}
	}
	vehicles, err := os.ReadFile(filepath.Join("..", "reading", "vehicles", "words.csv"))
	require.NoError(t, err)
	return append(out.Bytes(), vehicles...)
}

// notSaid are words in the code that no page shows.
var notSaid = map[string]bool{
	// names of fields and things kept
	"first name": true, "last name": true, "slot end": true, "day order": true, "arrival links": true, "signed in": true, "notice is bad": true,
	// stored in English and said again, see elsewhere
	"they asked for it": true, "by their link": true,
	// headers, media types, formats, an invented customer
	"text/javascript; charset=utf-8": true, "text/css; charset=utf-8": true, "text/plain; charset=utf-8": true,
	`Bearer realm="passbell"`: true, "Bearer": true, "Mon": true, "GB": true, "Bethan Cadwgan": true, "English": true, "Español": true, "none of ": true, `<div id="`: true,
	// errors for programs and for whoever starts passbell
	"no token is set, so the API answers the machine it runs on only: set one with `passbell init`": true,
	"send the token: Authorization: Bearer …":                                                       true, "not done": true,
	"the forms of a number are one and other, not %v": true, "neither a sentence nor forms by number: %v": true,
	"web: the desk, the inbox, the live hub or the store of sign-ins and links is missing": true,
	"web: the clock, the log or the kitchen's zone is missing":                             true,
}

func TestCodeSaysEveryWordThroughT(t *testing.T) {
	t.Parallel()
	sentence := regexp.MustCompile(`\pL{2,}[,.:;]? \pL{2,}|^[A-Z]\pL+$`)
	found := map[string]bool{}
	for file, f := range goFiles(t, ".") {
		if strings.HasPrefix(file, "api") {
			continue // programs read it
		}
		said := map[ast.Node]bool{}
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CallExpr:
				if quiet(n) {
					for _, a := range n.Args {
						said[a] = true
					}
				}
			case *ast.Field:
				if n.Tag != nil {
					said[n.Tag] = true
				}
			case *ast.BasicLit:
				s, ok := literal(n)
				if !ok || said[n] || !sentence.MatchString(s) || strings.HasSuffix(s, ": %w") {
					return true
				}
				found[s] = true
				if !notSaid[s] {
					t.Errorf("%s: %q is not said by t; if no page shows it, list it in notSaid", file, s)
				}
			}
			return true
		})
	}
	for s := range notSaid {
		require.True(t, found[s], "nothing is %q any more", s)
	}
}

// quiet tells whether a call's own words are said by t, or go to the log or
// into a header.
func quiet(call *ast.CallExpr) bool {
	switch fn := call.Fun.(type) {
	case *ast.Ident:
		return fn.Name == "phrase"
	case *ast.SelectorExpr:
		switch fn.Sel.Name {
		case "t":
			return true
		case "Get", "Set", "Add": // of a header
			if len(call.Args) == 0 {
				return false
			}
			first, _ := literal(call.Args[0])
			return http.CanonicalHeaderKey(first) == first || first == "ETag"
		}
		in, ok := fn.X.(*ast.SelectorExpr)
		return ok && in.Sel.Name == "Log"
	}
	return false
}
