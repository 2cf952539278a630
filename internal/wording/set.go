package wording

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"
	"text/template"

	"passbell/internal/night"
)

// The names of the texts. Each is a file of the language's folder.
const (
	Instructions   = "instructions"
	Reminder       = "reminder"
	Update         = "update"
	Cancellation   = "cancellation"
	Nudge          = "nudge"
	Delay          = "delay"
	Resend         = "resend"
	Short          = "short" // something of the order is missing
	ReplyHere      = "reply-here"
	ReplyHereCar   = "reply-here-car" // they are here and said no car
	ReplyComing    = "reply-coming"
	ReplyUnsure    = "reply-unsure" // nobody knows whose order it is
	StopConfirmed  = "stop-confirmed"
	StartConfirmed = "start-confirmed"
	Help           = "help"
)

// Names lists all texts.
func Names() []string {
	return []string{
		Instructions, Reminder, Update, Cancellation, Nudge, Delay, Resend, Short,
		ReplyHere, ReplyHereCar, ReplyComing, ReplyUnsure, StopConfirmed, StartConfirmed, Help,
	}
}

// NameFor gives the text of a kind of message; "" for a reply, which has
// several.
func NameFor(kind night.MessageKind) string {
	if kind == night.Reply {
		return ""
	}
	return string(kind)
}

// Set is the texts of one kitchen in one language. It is safe for use by
// several goroutines.
type Set struct {
	lang  string
	texts map[string]one
}

// one is a text ready to be filled in.
type one struct {
	*template.Template
	source string // as it is written
	own    bool   // the kitchen's, not built in
}

// TextError says what is wrong with a text, in words for the cook.
type TextError struct {
	Text   string   // the text's name
	Field  string   // the field that does not exist; "" where the fault is another
	Fields []string // the fields that do exist; set with Field
	Err    error
}

func (e *TextError) Error() string {
	if e.Field != "" {
		return fmt.Sprintf("the text %q names {{.%s}}, which does not exist; there are %s",
			e.Text, e.Field, strings.Join(e.Fields, ", "))
	}
	return fmt.Sprintf("the text %q can't be used: %v", e.Text, e.Err)
}

// Unwrap gives the cause.
func (e *TextError) Unwrap() error { return e.Err }

// Load reads the texts of a language from texts/LANG/NAME.tmpl and puts the
// kitchen's own, by name, in their place. Every text is tried on made-up orders
// before it is taken, so that none can fail on the night. The error joins one
// *TextError for each text that is refused.
func Load(fsys fs.FS, overrides map[string]string, lang string) (*Set, error) {
	if langs := languages(fsys); !slices.Contains(langs, lang) {
		return nil, fmt.Errorf("there are no texts in the language %q; there are %s", lang, strings.Join(langs, ", "))
	}
	set := &Set{lang: lang, texts: map[string]one{}}
	var faults []error
	for _, name := range slices.Sorted(maps.Keys(overrides)) {
		if !slices.Contains(Names(), name) {
			faults = append(faults, noSuch(name))
		}
	}
	for _, name := range Names() {
		text, own := overrides[name]
		if !own {
			b, err := fs.ReadFile(fsys, path.Join("texts", lang, name+".tmpl"))
			if err != nil {
				return nil, fmt.Errorf("read the text %q: %w", name, err)
			}
			text = string(b)
		}
		t, err := compile(name, text, lang)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		set.texts[name] = one{t, trimmed(text), own}
	}
	if len(faults) > 0 {
		return nil, errors.Join(faults...)
	}
	return set, nil
}

// With gives the set with a kitchen's own texts, by name, in the place of what s
// has under these names; s stays as it is. One that can't be used is left out
// and named by the error: the set that comes back is whole all the same.
func (s *Set) With(own map[string]string) (*Set, error) {
	out := &Set{lang: s.lang, texts: maps.Clone(s.texts)}
	var faults []error
	for _, name := range slices.Sorted(maps.Keys(own)) {
		if !slices.Contains(Names(), name) {
			faults = append(faults, noSuch(name))
			continue
		}
		t, err := compile(name, own[name], s.lang)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		out.texts[name] = one{t, trimmed(own[name]), true}
	}
	return out, errors.Join(faults...)
}

// Source gives a text as it is written, its fields not filled in; "" where there
// is none of that name.
func (s *Set) Source(name string) string { return s.texts[name].source }

// Own tells whether a text is the kitchen's own and not built in.
func (s *Set) Own(name string) bool { return s.texts[name].own }

func trimmed(text string) string { return strings.TrimRight(text, "\n") }

// Check tells whether a kitchen's own text for name can be used, with the error
// that Load would give.
func Check(name, text, lang string) error {
	if !slices.Contains(Names(), name) {
		return noSuch(name)
	}
	_, err := compile(name, text, lang)
	return err
}

func noSuch(name string) error {
	return fmt.Errorf("there is no text %q to replace; there are %s", name, strings.Join(Names(), ", "))
}

func compile(name, text, lang string) (*template.Template, error) {
	t, err := template.New(name).Parse(text)
	if err != nil {
		return nil, &TextError{Text: name, Err: plainly(err, name)}
	}
	if field, ok := unknownField(t); ok {
		return nil, &TextError{Text: name, Field: field, Fields: FieldNames(), Err: fmt.Errorf("unknown field %s", field)}
	}
	for _, f := range samples(name, lang) {
		if _, err := render(t, name, f); err != nil {
			return nil, err
		}
	}
	return t, nil
}

// Lang is the language of the texts.
func (s *Set) Lang() string { return s.lang }

// Render fills in a text. It takes spaces off the ends of lines and blank lines
// out.
func (s *Set) Render(name string, f Facts) (string, error) {
	t, ok := s.texts[name]
	if !ok {
		return "", fmt.Errorf("there is no text %q", name)
	}
	return render(t.Template, name, f)
}

func render(t *template.Template, name string, f Facts) (string, error) {
	var b strings.Builder
	b.Grow(usual)
	if err := t.Execute(&capped{w: &b, left: maxBytes}, f); err != nil {
		return "", &TextError{Text: name, Err: plainly(err, name)}
	}
	text := tidy(b.String())
	if text == "" {
		return "", &TextError{Text: name, Err: errors.New("nothing is left of it when it is filled in")}
	}
	return text, nil
}

// usual is how many bytes most texts have at most.
const usual = 2 * oneGSM7

// maxBytes is far above what 255 parts can hold.
const maxBytes = 1 << 18

// capped stops a text that never ends.
type capped struct {
	w    io.Writer
	left int
}

func (c *capped) Write(p []byte) (int, error) {
	if c.left -= len(p); c.left < 0 {
		return 0, errors.New("it grows without end")
	}
	return c.w.Write(p)
}

// tidy makes runs of spaces one and drops blank lines.
func tidy(s string) string {
	var b strings.Builder
	b.Grow(len(s))
	for line := range strings.SplitSeq(strings.ReplaceAll(s, "\r", "\n"), "\n") {
		if !plain(line) {
			line = strings.Join(strings.Fields(line), " ")
		}
		if line == "" {
			continue
		}
		if b.Len() > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(line)
	}
	return b.String()
}

// plainly takes the template engine's own prefix off an error.
func plainly(err error, name string) error {
	msg := strings.TrimPrefix(err.Error(), "template: ")
	if rest, ok := strings.CutPrefix(msg, name+":"); ok {
		msg = "line " + rest
	}
	return &plainError{msg: msg, err: err}
}

type plainError struct {
	msg string
	err error
}

func (e *plainError) Error() string { return e.msg }
func (e *plainError) Unwrap() error { return e.err }

func languages(fsys fs.FS) []string {
	entries, err := fs.ReadDir(fsys, "texts")
	if err != nil {
		return nil
	}
	var out []string
	for _, e := range entries {
		if e.IsDir() {
			out = append(out, e.Name())
		}
	}
	return out
}
