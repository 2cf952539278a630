package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"slices"
	"strings"
	"sync"

	"passbell/templates"
)

// asset is one file that pages load.
type asset struct {
	kind   string // media type
	body   []byte
	packed []byte // gzip; nil where it would not be smaller
	hash   string
}

// static serves the files that pages load. Their addresses name their content,
// so that a browser keeps them for good and never mixes two versions.
type static struct {
	assets  map[string]asset
	version string
}

func loadStatic() (static, error) {
	s := static{assets: map[string]asset{}}
	var packer packer
	entries, err := fs.ReadDir(templates.Pages, "static")
	if err != nil {
		return s, fmt.Errorf("read the static files: %w", err)
	}
	all := sha256.New()
	for _, e := range entries {
		body, err := fs.ReadFile(templates.Pages, path.Join("static", e.Name()))
		if err != nil {
			return s, fmt.Errorf("read %s: %w", e.Name(), err)
		}
		sum := sha256.Sum256(body)
		all.Write(sum[:])
		a := asset{kind: mediaType(e.Name()), body: body, hash: hex.EncodeToString(sum[:6])}
		if packed := packer.pack(body); len(packed) < len(body) {
			a.packed = packed
		}
		s.assets[e.Name()] = a
	}
	for _, from := range []struct {
		files fs.FS
		glob  string
	}{{templates.Pages, "pages/*.html"}, {templates.Words, "words/*.toml"}} {
		names, err := fs.Glob(from.files, from.glob)
		if err != nil {
			return s, err
		}
		for _, name := range names {
			body, err := fs.ReadFile(from.files, name)
			if err != nil {
				return s, fmt.Errorf("read %s: %w", name, err)
			}
			all.Write(body)
		}
	}
	s.version = hex.EncodeToString(all.Sum(nil)[:6])
	return s, nil
}

// mediaType knows by itself what is served here: what the machine's tables say
// differs from one to the next.
func mediaType(name string) string {
	switch path.Ext(name) {
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".css":
		return "text/css; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	case ".txt":
		return "text/plain; charset=utf-8"
	}
	return mime.TypeByExtension(path.Ext(name))
}

// packer compresses. What it takes for that is some 800 KB, and serves again. The
// zero value is ready, and it is safe for concurrent use.
type packer struct{ idle sync.Pool }

// pack compresses; writing to memory can't fail.
func (p *packer) pack(body []byte) []byte {
	var b bytes.Buffer
	z, ok := p.idle.Get().(*gzip.Writer)
	if !ok {
		z = gzip.NewWriter(nil)
	}
	defer p.idle.Put(z)
	z.Reset(&b)
	_, _ = z.Write(body)
	_ = z.Close()
	return b.Bytes()
}

// url is the address of a file.
func (s static) url(name string) string { return "/static/" + name + "?v=" + s.assets[name].hash }

func (s static) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	a, ok := s.assets[strings.TrimPrefix(r.URL.Path, "/static/")]
	if !ok {
		http.NotFound(w, r)
		return
	}
	h := w.Header()
	tag := `"` + a.hash + `"`
	h.Set("Content-Type", a.kind)
	h.Set("ETag", tag)
	h.Set("Vary", "Accept-Encoding")
	h.Set("Cache-Control", "no-cache")
	h.Set("Service-Worker-Allowed", "/") // the one that there is keeps pages, and they are at the top
	if r.URL.Query().Get("v") == a.hash {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	if r.Header.Get("If-None-Match") == tag {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	body := a.body
	if a.packed != nil && takesGzip(r) {
		h.Set("Content-Encoding", "gzip")
		body = a.packed
	}
	_, _ = w.Write(body) // nobody to tell when the reader went away
}

func takesGzip(r *http.Request) bool {
	return slices.ContainsFunc(strings.Split(r.Header.Get("Accept-Encoding"), ","), func(s string) bool {
		name, quality, _ := strings.Cut(strings.TrimSpace(s), ";")
		return name == "gzip" && strings.ReplaceAll(quality, " ", "") != "q=0"
	})
}
