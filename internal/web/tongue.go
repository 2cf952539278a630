package web

import (
	"fmt"
	"io/fs"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/pelletier/go-toml/v2"
	forms "golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/message/catalog"

	"passbell/templates"
)

// spoken is a language of the pages.
type spoken struct{ Code, Name string }

// languages are those that the pages speak; the first stands in for any other.
var languages = [...]spoken{{"en", "English"}, {"es", "Español"}}

// tongue is the language that one set of pages speaks.
type tongue struct {
	lang    string
	region  string // the kitchen's, which tells how times and dates are written
	printer *message.Printer
	// For sentences from elsewhere, see say: those of their section that have
	// something filled in, made when the first is said, and all that stand without.
	known func() []known
	plain map[string]bool
}

// t says an English sentence in the language of the page. The sentence is its
// own key: what stands for it in another language is one line of
// templates/words/LANGUAGE.toml, and a test fails while that is missing. Where
// there are numbers or names, the sentence is a format with %d and %s:
//
//	s.t("Loaded: %d new, %d changed.", added, changed)   in Go
//	{{t "Pack now"}} {{t "bag %d" .Bag}}                  in a page
//	{{template "act" (act .Origin .Path (t "Handed out") "main" .About)}}
//
// The key must be written out where t is called, in one piece, so that it can
// be found; words that are kept in a table first are marked as a phrase there
// and said by t as a variable. A sentence that reads otherwise for one thing
// than for many is written for many, t("%d orders", n), and has both forms in
// en.toml and es.toml; the first %d decides. Names, texts of customers and other
// data of the kitchen are arguments and stay as they are.
func (w *tongue) t(key string, args ...any) string { return w.printer.Sprintf(key, args...) }

// phrase marks words in a table as something that t is going to say.
type phrase = string

// loadTongue reads what the pages of a kitchen in a region say in a language:
// English where that says nothing.
func loadTongue(region, code string) (*tongue, error) {
	words := catalog.NewBuilder(catalog.Fallback(language.English))
	w := &tongue{lang: code, region: region, plain: map[string]bool{}}
	for _, l := range slices.Compact([]string{languages[0].Code, code}) {
		said, err := readWords(l)
		if err != nil {
			return nil, err
		}
		section, _ := said[elsewhere].(map[string]any)
		delete(said, elsewhere)
		maps.Copy(said, section)
		w.known = sync.OnceValue(func() []known { return newKnown(section) })
		for key, v := range said {
			w.plain[key] = l == code && !verb.MatchString(key)
			if err := addWords(words, language.Make(l), key, v); err != nil {
				return nil, fmt.Errorf("words in %s.toml for %q: %w", l, key, err)
			}
		}
	}
	w.printer = message.NewPrinter(language.Make(code), message.Catalog(words))
	return w, nil
}

// readWords gives the lines of a language: a string, or forms by number.
func readWords(code string) (map[string]any, error) {
	raw, err := fs.ReadFile(templates.Words, "words/"+code+".toml")
	if err != nil {
		return nil, fmt.Errorf("read the words of the pages: %w", err)
	}
	var said map[string]any
	if err := toml.Unmarshal(raw, &said); err != nil {
		return nil, fmt.Errorf("read the words of the pages, %s.toml: %w", code, err)
	}
	return said, nil
}

// verb is a place in a sentence that an argument fills.
var verb = regexp.MustCompile(`%(?:\[(\d+)\])?[-+# 0]*\d*(?:\.\d+)?([a-zA-Z%])`)

func addWords(to *catalog.Builder, tag language.Tag, key string, said any) error {
	switch said := said.(type) {
	case string:
		return to.SetString(tag, key, said)
	case map[string]any:
		cases := []any{}
		for _, form := range []string{"=0", "zero", "one", "two", "few", "many", "other"} {
			if words, ok := said[form].(string); ok {
				cases = append(cases, form, words)
			}
		}
		if len(cases) != 2*len(said) {
			return fmt.Errorf("the forms of a number are one and other, not %v", said)
		}
		return to.Set(tag, key, forms.Selectf(counted(key), "%d", cases...))
	}
	return fmt.Errorf("neither a sentence nor forms by number: %v", said)
}

// counted tells which argument of a sentence decides its form, from 1.
func counted(key string) int {
	n := 0
	for _, m := range verb.FindAllStringSubmatch(key, -1) {
		if m[2] == "%" {
			continue
		}
		if n++; m[2] == "d" {
			return n
		}
	}
	return 1
}

const (
	languageCookie = "passbell-language"
	languageFor    = 365 * 24 * time.Hour
)

// speaking answers each request by the pages in its language: the one chosen on
// the device, or else the kitchen's. What a customer's link opens is in the
// kitchen's, as are the texts that it came with; so is the sign at the gate.
type speaking struct {
	by      map[string]func() *site // made when somebody first speaks it
	kitchen string
}

func (s speaking) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.site(r).handler.ServeHTTP(w, r)
}

func (s speaking) site(r *http.Request) *site {
	lang := s.kitchen
	forCustomers := strings.HasPrefix(r.URL.Path, "/here/") || r.URL.Path == "/paper/sign"
	if c, err := r.Cookie(languageCookie); err == nil && s.by[c.Value] != nil && !forCustomers {
		lang = c.Value
	}
	return s.by[lang]()
}

// pagesLanguage is the language of the pages for one of the texts.
func pagesLanguage(texts string) string {
	for _, l := range languages {
		if l.Code == texts {
			return l.Code
		}
	}
	return languages[0].Code
}

// version names the pages as they are in this language: a page of another one
// loads itself anew.
func (s *site) version() string { return s.static.version + s.lang }

// setLanguage keeps the language that somebody chose on their device.
func (s *site) setLanguage(w http.ResponseWriter, r *http.Request) {
	http.SetCookie(w, &http.Cookie{
		Name: languageCookie, Value: pagesLanguage(r.PostFormValue("language")), Path: "/", MaxAge: int(languageFor.Seconds()),
		HttpOnly: true, SameSite: http.SameSiteLaxMode,
	})
	http.Redirect(w, r, safeBack(r.PostFormValue("back")), http.StatusSeeOther)
}

// scriptSays finds what the pages' script says, t('sentence').
var scriptSays = regexp.MustCompile(`\bt\('([^'\\]+)'`)

// scriptWords gives each sentence of the pages' script as it is said in this
// language, for a page to hand over: the script has no words of its own.
func (w *tongue) scriptWords() (map[string]string, error) {
	keys, err := scriptKeys()
	if err != nil {
		return nil, err
	}
	out := map[string]string{}
	for _, key := range keys {
		same := make([]any, strings.Count(key, "%s"))
		for i := range same {
			same[i] = "%s" // the script fills it in
		}
		out[key] = w.t(key, same...)
	}
	return out, nil
}

func scriptKeys() ([]string, error) {
	raw, err := fs.ReadFile(templates.Pages, "static/pass.js")
	if err != nil {
		return nil, err
	}
	var out []string
	for _, m := range scriptSays.FindAllStringSubmatch(string(raw), -1) {
		out = append(out, m[1])
	}
	return out, nil
}
