package email

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"html"
	"net/mail"
	"regexp"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"

	"passbell/adapters"
)

// envelope is an e-mail ready to go.
type envelope struct {
	from, to string // bare addresses
	id       string // Message-ID without its angle brackets
	body     []byte // header and parts, CRLF
	until    time.Time
}

// idMark begins our Message-IDs, so that they are known again when they return.
const idMark = "passbell."

var (
	ownID     = regexp.MustCompile(`passbell\.[A-Za-z0-9_-]{0,24}\.[0-9a-f]{16}@[A-Za-z0-9.-]{1,253}`)
	notInID   = regexp.MustCompile(`[^A-Za-z0-9_-]+`)
	runsOfGap = regexp.MustCompile(`\s+`)
)

// messageID makes the Message-ID of a key. The hash is over the sender and the
// recipient too: after a database was set up anew, keys begin again, and a mailbox
// that has seen an id may drop what comes with it a second time. It also makes
// ids hard to guess for whoever would forge a report.
func messageID(key, from, to, domain string) string {
	h := sha256.New()
	for _, s := range []string{key, from, to} {
		fmt.Fprintf(h, "%d:%s", len(s), s)
	}
	readable := notInID.ReplaceAllString(key, "_")
	return idMark + readable[:min(len(readable), 24)] + "." + hex.EncodeToString(h.Sum(nil)[:8]) + "@" + domain
}

// ownIDIn finds the first of our ids in s, with any domain: the sender of one
// message need not be that of the next.
func ownIDIn(s string) string { return ownID.FindString(s) }

// compose turns a message into an e-mail, or says for a cook why it cannot.
// account is set where the fault is with the sender.
func (a *Adapter) compose(m adapters.Message) (e envelope, account bool, err error) {
	if _, err := address(m.To); err != nil {
		return envelope{}, false, fmt.Errorf("the customer's e-mail address cannot be used: %w", err)
	}
	from, err := a.sender(m.From)
	if err != nil {
		return envelope{}, true, err
	}
	domain, err := address(from.Address)
	if err != nil {
		return envelope{}, true, fmt.Errorf("the sender %q cannot be used: %w", m.From, err)
	}
	if strings.ContainsRune(m.Text, 0) {
		return envelope{}, false, errors.New("the text holds a sign that e-mail cannot carry")
	}
	e = envelope{from: from.Address, to: m.To, until: m.ValidUntil, id: messageID(m.Key, from.Address, m.To, domain)}

	msg := gomail.NewMsg(gomail.WithNoDefaultUserAgent())
	if err := msg.FromFormat(from.Name, from.Address); err != nil {
		return envelope{}, true, errors.New("the sender cannot be used")
	}
	if err := msg.To(m.To); err != nil {
		return envelope{}, false, errors.New("the customer's e-mail address cannot be used")
	}
	if a.cfg.ReplyTo != from.Address {
		if err := msg.ReplyTo(a.cfg.ReplyTo); err != nil {
			return envelope{}, true, errors.New("reply_to cannot be used")
		}
	}
	msg.Subject(oneLine(m.Subject, a.cfg.Subject))
	msg.SetMessageIDWithValue(e.id)
	msg.SetDateWithValue(a.now())
	plain := strings.ReplaceAll(m.Text, "\r\n", "\n")
	msg.SetBodyString(gomail.TypeTextPlain, strings.ReplaceAll(plain, "\n", "\r\n"))
	msg.AddAlternativeString(gomail.TypeTextHTML, page(plain))
	var b bytes.Buffer
	if _, err := msg.WriteTo(&b); err != nil {
		return envelope{}, false, errors.New("the text cannot be put into an e-mail")
	}
	e.body = b.Bytes()
	return e, false, nil
}

// sender is the From of an e-mail: an address where from is one, else the
// configured address with from as its name.
func (a *Adapter) sender(from string) (mail.Address, error) {
	own := mail.Address{Name: a.cfg.FromName, Address: a.cfg.From}
	switch {
	case from == "":
		return own, nil
	case hasControl(from):
		return own, errors.New("the sender holds a line break")
	case !strings.Contains(from, "@"):
		own.Name = from
		return own, nil
	}
	parsed, err := mail.ParseAddress(from)
	if err != nil {
		return own, fmt.Errorf("the sender %q is no e-mail address", from)
	}
	if parsed.Name == "" {
		parsed.Name = a.cfg.FromName
	}
	return *parsed, nil
}

// oneLine makes a subject of s, or of def where s is empty.
func oneLine(s, def string) string {
	s = strings.Map(func(r rune) rune {
		if hasControl(string(r)) {
			return ' '
		}
		return r
	}, s)
	if s = strings.TrimSpace(runsOfGap.ReplaceAllString(s, " ")); s == "" {
		return def
	}
	return s
}

// page is the HTML of a text: its words and its line breaks, everything escaped.
func page(text string) string {
	body := strings.ReplaceAll(html.EscapeString(text), "\n", "<br>\r\n")
	return "<!DOCTYPE html>\r\n<html><head><meta charset=\"utf-8\"></head>\r\n" +
		"<body><p style=\"font-family:sans-serif;font-size:1.1em\">" + body + "</p></body></html>\r\n"
}
