package email

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/mail"
	"regexp"
	"strings"
	"time"

	"passbell/adapters"
)

// mailText stands for an e-mail in which nothing of the customer's own is left,
// such as a picture alone: somebody should see that it came.
const mailText = "(e-mail without text)"

// letter is one e-mail as it lay in the mailbox.
type letter struct {
	uid      uint32
	validity uint32
	at       time.Time // when the server took it in
	raw      []byte    // from its beginning; the end may be missing
}

// inbound reads a customer's e-mail.
func (l *letter) inbound(e *entity, own ...string) adapters.Inbound {
	in := adapters.Inbound{From: firstAddress(e.head.get("from")), At: l.at, Text: textOf(e)}
	for _, field := range append(e.head["to"], e.head["cc"]...) {
		for _, to := range addresses(field) {
			if in.To == "" {
				in.To = to
			}
			for _, mine := range own {
				if strings.EqualFold(to, mine) {
					in.To = to
				}
			}
		}
	}
	in.ID = l.id(e, &in)
	return in
}

var messageIDIn = regexp.MustCompile(`<([^<>\s]{1,250})>`)

// id is the Message-ID; else one made from what a second delivery of the same
// e-mail would share; else, where there is no date, the UID.
func (l *letter) id(e *entity, in *adapters.Inbound) string {
	if found := messageIDIn.FindStringSubmatch(e.head.get("message-id")); found != nil {
		return found[1]
	}
	date := e.head.get("date")
	if date == "" {
		return fmt.Sprintf("uid-%d-%d", l.validity, l.uid)
	}
	h := sha256.New()
	for _, s := range []string{in.From, date, e.head.get("subject"), in.Text} {
		fmt.Fprintf(h, "%d:%s", len(s), s)
	}
	return "mail-" + hex.EncodeToString(h.Sum(nil)[:16])
}

// answered is how subjects of answers begin, in the languages of mail programs
// (from memory).
var answered = regexp.MustCompile(`(?i)^\s*(re|aw|antw|antwort|sv|rép|ref|rif|r|res|odp|vs|fwd?|wg|tr|rv|enc|i)\s*(\[\d+\])?\s*:`)

// textOf is what the customer wrote. The subject of an e-mail that is no answer
// belongs to it: many write all that they have to say up there.
func textOf(e *entity) string {
	w := walk{}
	text := reply(w.words(e, 0).best())
	subject := oneLine(e.head.decoded("subject"), "")
	fresh := subject != "" && !answered.MatchString(subject) && e.head.get("in-reply-to") == ""
	switch {
	case fresh && text == "":
		return join([]string{subject})
	case fresh && !strings.Contains(strings.ToLower(text), strings.ToLower(subject)):
		return join([]string{subject, text})
	case text == "":
		return mailText
	}
	return text
}

// machine says why an e-mail is not from a person who writes to us, "" where it
// is: RFC 3834 §5 for Auto-Submitted, RFC 2919 for List-Id; the others are older
// habits (common practice, no source).
func machine(h header) string {
	if v := strings.ToLower(token(h.get("auto-submitted"))); v != "" && !strings.HasPrefix(v, "no") {
		return "it is an automatic answer"
	}
	switch strings.ToLower(h.get("precedence")) {
	case "bulk", "junk", "list", "auto_reply", "auto-reply":
		return "it is mass mail or an automatic answer"
	}
	for _, name := range []string{"x-autoreply", "x-autorespond", "x-auto-reply", "x-autoresponder", "x-mail-autoreply"} {
		if v, ok := h[name]; ok && !strings.EqualFold(strings.Join(v, ""), "no") {
			return "it is an automatic answer"
		}
	}
	switch {
	case h.get("list-id") != "" || h.get("list-unsubscribe") != "":
		return "it is from a mailing list"
	case h.get("return-path") == "<>":
		return "it is from a mail server"
	case ownIDIn(h.get("message-id")) != "":
		return "it is one of our own"
	}
	return ""
}

// addresses reads the addresses of a field; one that is not well formed is
// searched for anything that looks like an address.
func addresses(field string) []string {
	var out []string
	if list, err := mail.ParseAddressList(field); err == nil {
		for _, one := range list {
			out = append(out, tidy(one.Address))
		}
		return out
	}
	for _, found := range looseAddress.FindAllString(field, 20) {
		out = append(out, tidy(found))
	}
	return out
}

var looseAddress = regexp.MustCompile(`[^\s<>()\[\]"',;:\\]{1,64}@[^\s<>()\[\]"',;:\\@]{1,190}`)

func firstAddress(field string) string {
	if all := addresses(field); len(all) > 0 {
		return all[0]
	}
	return ""
}

// tidy writes the domain in lower case, which never matters (RFC 5321 §2.4).
func tidy(address string) string {
	at := strings.LastIndexByte(address, '@')
	if at < 0 {
		return address
	}
	return address[:at] + strings.ToLower(address[at:])
}
