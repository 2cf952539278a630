package web

import (
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"passbell/templates"
)

// notOurs are the places of a page where a customer's words stand, or texts to
// them, or the names of things.
var notOurs = []string{"words", "note", "allergy", "stand", "reads", "car", "chips"}

// EnglishLeft gives the English sentences that a page in another language shows:
// texts, and attributes that are heard, which are such a sentence or hold a
// longer part of one.
func EnglishLeft(t *testing.T, lang, page string) []string {
	t.Helper()
	said, err := readWords(lang)
	require.NoError(t, err)
	section, _ := said[elsewhere].(map[string]any)
	delete(said, elsewhere)
	maps.Copy(said, section)
	whole, pieces := map[string]bool{}, map[string]bool{}
	for key, words := range said {
		if words == key {
			continue
		}
		whole[key] = true
		for piece := range strings.SplitSeq(verb.ReplaceAllString(key, filled), filled) {
			if piece = strings.Trim(piece, " ,.:;“”"); len(piece) > 14 && strings.Contains(piece, " ") {
				pieces[piece] = true
			}
		}
	}
	var out []string
	look := func(words string) {
		words = strings.TrimSpace(words)
		if whole[words] {
			out = append(out, words)
			return
		}
		for piece := range pieces {
			if strings.Contains(words, piece) {
				out = append(out, words)
				return
			}
		}
	}
	doc, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	var walk func(n *html.Node)
	walk = func(n *html.Node) {
		switch n.Type {
		case html.TextNode:
			look(n.Data)
		case html.ElementNode:
			if slices.Contains([]string{"script", "style", "blockquote", "textarea", "code", "pre"}, n.Data) {
				return
			}
			for _, a := range n.Attr {
				switch {
				case a.Key == "class" && slices.ContainsFunc(strings.Fields(a.Val), func(c string) bool { return slices.Contains(notOurs, c) }):
					return
				case slices.Contains(heard, a.Key):
					look(a.Val)
				}
			}
		case html.DocumentNode, html.CommentNode, html.DoctypeNode, html.ErrorNode, html.RawNode:
		}
		for c := range n.ChildNodes() {
			walk(c)
		}
	}
	walk(doc)
	return out
}

// EveryPage makes every page in every language, as opening it would.
func EveryPage() error {
	files, err := fs.Glob(templates.Pages, "pages/*.html")
	if err != nil {
		return err
	}
	var all Looks
	for _, spoken := range languages {
		_, l, err := all.in(spokenIn{spoken.Code, "GB"})
		if err != nil {
			return err
		}
		for _, f := range files {
			if _, err := l.pages.of(strings.TrimSuffix(path.Base(f), ".html")); err != nil {
				return err
			}
		}
	}
	return nil
}

// Changes gives what has changed from one page to another; ok is false where that
// can't be told.
func Changes(from, to string) (string, bool) {
	was, now := split([]byte(from)), split([]byte(to))
	return string(changes([]byte(to), now, remember(was))), was != nil && now != nil
}

// tonguesIn gives what the pages say in a region, by language.
func tonguesIn(t testing.TB, region string) map[string]*tongue {
	t.Helper()
	out := map[string]*tongue{}
	for _, l := range languages {
		w, err := loadTongue(region, l.Code)
		require.NoError(t, err)
		out[l.Code] = w
	}
	return out
}
