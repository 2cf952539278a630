package web

import (
	"bytes"
	"hash/maphash"
	"io"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

// part is an element of a page that has an id, or the view that holds them all.
// Its own is what stands in it outside of the parts within it.
type part struct {
	name     string // its id
	tag      string
	in       int // place of the part that it stands in; -1 for the view
	from, to int // where it stands in the HTML
	own      uint64
}

// viewPart is the name of the part that holds all others; see layout.html.
const viewPart = "view"

// partSeed makes what is a part's own comparable within this process.
var partSeed = maphash.MakeSeed()

// void are the elements without an end (WHATWG HTML §13.1.2).
var void = map[atom.Atom]bool{
	atom.Area: true, atom.Base: true, atom.Br: true, atom.Col: true, atom.Embed: true, atom.Hr: true, atom.Img: true,
	atom.Input: true, atom.Link: true, atom.Meta: true, atom.Source: true, atom.Track: true, atom.Wbr: true,
}

// splitter takes a page apart.
type splitter struct {
	page  []byte
	parts []part
	open  []opened
	own   []ownHash // of the parts that are open, innermost last
	named map[string]bool
}

// opened is an element whose end was not read yet.
type opened struct {
	tag  atom.Atom
	part bool
}

type ownHash struct {
	part int
	sum  maphash.Hash
	done int // up to where the HTML is in the sum
}

// split takes a rendered view apart, in the order of the document: the view
// first, each part before those within it. It gives nil for what can't be taken
// apart: an id twice, or an element that is not closed where it was opened.
func split(page []byte) []part {
	s := &splitter{page: page, named: map[string]bool{}}
	s.begin(viewPart, "div", 0)
	z := html.NewTokenizer(bytes.NewReader(page))
	for at := 0; ; {
		kind := z.Next()
		from := at
		at += len(z.Raw())
		switch kind {
		case html.ErrorToken:
			if z.Err() != io.EOF || len(s.open) > 0 {
				return nil
			}
			s.end(len(page))
			return s.parts
		case html.StartTagToken:
			if !s.start(z, from, at) {
				return nil
			}
		case html.EndTagToken:
			name, _ := z.TagName()
			last := len(s.open) - 1
			if last < 0 || s.open[last].tag != atom.Lookup(name) {
				return nil
			}
			if s.open[last].part {
				s.end(at)
			}
			s.open = s.open[:last]
		case html.TextToken, html.SelfClosingTagToken, html.CommentToken, html.DoctypeToken:
		}
	}
}

// start takes a start tag; false for an id that was there before.
func (s *splitter) start(z *html.Tokenizer, from, to int) bool {
	name, more := z.TagName()
	tag, id := atom.Lookup(name), ""
	more = more && bytes.Contains(s.page[from:to], []byte("id=")) // most have none, and to look is dear
	for more {
		var key, val []byte
		if key, val, more = z.TagAttr(); string(key) == "id" {
			id = string(val)
		}
	}
	if id != "" {
		if s.named[id] || id == viewPart {
			return false
		}
		s.named[id] = true
		s.begin(id, string(s.page[from+1:from+1+len(name)]), from)
	}
	switch {
	case !void[tag]:
		s.open = append(s.open, opened{tag, id != ""})
	case id != "":
		s.end(to)
	}
	return true
}

func (s *splitter) begin(name, tag string, at int) {
	p := part{name: name, tag: tag, in: -1, from: at}
	if n := len(s.own); n > 0 {
		outer := &s.own[n-1]
		p.in = outer.part
		_, _ = outer.sum.Write(s.page[outer.done:at])
		_, _ = outer.sum.WriteString("\x00" + name + "\x00") // where it stands is the outer's own
	}
	s.own = append(s.own, ownHash{part: len(s.parts), done: at})
	s.own[len(s.own)-1].sum.SetSeed(partSeed)
	s.parts = append(s.parts, p)
}

func (s *splitter) end(at int) {
	last := len(s.own) - 1
	inner := &s.own[last]
	_, _ = inner.sum.Write(s.page[inner.done:at])
	s.parts[inner.part].to, s.parts[inner.part].own = at, inner.sum.Sum64()
	if last > 0 {
		s.own[last-1].done = at
	}
	s.own = s.own[:last]
}

// stood is what is remembered of a part.
type stood struct {
	in  string // name of the part that it stood in
	own uint64
}

// remember gives what has to be known of a page to tell later what has changed.
func remember(parts []part) map[string]stood {
	out := make(map[string]stood, len(parts))
	for _, p := range parts {
		in := ""
		if p.in >= 0 {
			in = parts[p.in].name
		}
		out[p.name] = stood{in, p.own}
	}
	return out
}

// changes gives the parts of a page whose own has changed since it was as
// remembered, each after the one that it stands in. In the place of a part that
// stood there before is an empty element with its id and data-same: that one is
// kept as it is, and comes by itself if its own has changed.
func changes(page []byte, parts []part, was map[string]stood) []byte {
	var b bytes.Buffer
	fresh := make([]bool, len(parts)) // comes within another
	for i, p := range parts {
		before, known := was[p.name]
		fresh[i] = p.in >= 0 && (fresh[p.in] || !known || before.in != parts[p.in].name)
		if !fresh[i] && before.own != p.own {
			writePart(&b, page, parts, i, was)
		}
	}
	return b.Bytes()
}

func writePart(b *bytes.Buffer, page []byte, parts []part, i int, was map[string]stood) {
	p := parts[i]
	if p.name == viewPart {
		b.WriteString(`<div id="` + viewPart + `">`)
		defer b.WriteString(`</div>`)
	}
	done := p.from
	for j := i + 1; j < len(parts) && parts[j].from < p.to; j++ {
		inner := parts[j]
		before, known := was[inner.name]
		if inner.in != i || !known || before.in != p.name {
			continue
		}
		b.Write(page[done:inner.from])
		b.WriteString(`<` + inner.tag + ` id="` + html.EscapeString(inner.name) + `" data-same>`)
		if !void[atom.Lookup([]byte(inner.tag))] {
			b.WriteString(`</` + inner.tag + `>`)
		}
		done = inner.to
	}
	b.Write(page[done:p.to])
}
