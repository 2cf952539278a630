package email

import (
	"regexp"
	"strings"
	"unicode/utf8"
)

// How much of a text is looked at, and how much is handed on.
const (
	maxLines    = 2000
	maxLineSize = 2000 // bytes
	maxReply    = 4000 // characters
)

// reply cuts what a customer did not write out of an e-mail's text: quoted text
// (marked with ">", or below an introduction or the head of the e-mail that was
// answered), the signature, what the phone adds, and legal trailers. What stands
// below quoted text is kept: some write there. "" means that nothing is left.
//
// The shapes are those that mail programs write; the words are from memory and
// common practice, no source, but for "-- " (RFC 3676 §4.3).
func reply(text string) string {
	lines := clean(text)
	lines = cutAnswered(lines)
	lines = dropQuotes(lines)
	lines = cutSignature(lines)
	lines = cutTrailers(lines)
	return join(lines)
}

// clean makes lines of a text: no-break spaces are spaces, invisible signs go.
func clean(text string) []string {
	text = strings.Map(func(r rune) rune {
		switch {
		case r == '\u00A0' || r == '\u202F' || r == '\t':
			return ' '
		case r == '\u200B' || r == '\uFEFF' || r == '\u200E' || r == '\u200F' || r == '\u00AD':
			return -1
		case r < ' ' && r != '\n', r == 0x7F:
			return -1
		}
		return r
	}, text)
	lines := strings.SplitN(text, "\n", maxLines+1)
	if len(lines) > maxLines {
		lines = lines[:maxLines]
	}
	for i, line := range lines {
		if len(line) > maxLineSize {
			line = strings.ToValidUTF8(line[:maxLineSize], "")
		}
		lines[i] = strings.TrimRight(line, " ")
	}
	return lines
}

var (
	// Lines that say "below is the e-mail that was answered or forwarded".
	divider = regexp.MustCompile(`(?i)^[-_=* ]*(begin )?(original message|forwarded message|original appointment|` +
		`ursprüngliche nachricht|originalnachricht|weitergeleitete nachricht|anfang der weitergeleiteten (nachricht|e-mail)|` +
		`message d['’]origine|message original|message transféré|message transmis|début du message (transféré|réexpédié)|` +
		`mensaje original|mensaje reenviado|inicio del mensaje reenviado|` +
		`messaggio originale|messaggio inoltrato|inizio messaggio inoltrato|` +
		`oorspronkelijk bericht|doorgestuurd bericht|begin doorgestuurd bericht|` +
		`mensagem original|mensagem encaminhada|wiadomość oryginalna|ursprungligt meddelande) ?:?[-_=* ]*$`)
	// The head of the e-mail that was answered, as some programs put it.
	headFrom = regexp.MustCompile(`(?i)^\*?(from|von|de|da|van|från|fra|od)\*? ?:\*? *\S`)
	headRest = regexp.MustCompile(`(?i)^\*?(sent|date|to|cc|subject|reply-to|gesendet|datum|an|betreff|envoyé|à|objet|` +
		`enviado( el)?|enviada( em)?|fecha|para|asunto|assunto|inviato|data|a|oggetto|verzonden|aan|onderwerp|` +
		`skickat|till|ämne|sendt|til|emne|wysłano|do|temat)\*? ?:`)
	anyRule = regexp.MustCompile(`^ *[-_=*—–]{3,} *$`)
)

// cutAnswered cuts at the head of the e-mail that was answered.
func cutAnswered(lines []string) []string {
	for i, line := range lines {
		if divider.MatchString(line) && strings.TrimLeft(line, "-_=* ") != "" && dividerAlone(lines, i) {
			return lines[:i]
		}
		if headFrom.MatchString(line) && headFollows(lines[i+1:]) {
			for i > 0 && (lines[i-1] == "" || anyRule.MatchString(lines[i-1])) {
				i--
			}
			return lines[:i]
		}
	}
	return lines
}

// dividerAlone spares a customer's own words "original message": a divider has
// dashes, ends in a colon, or stands before a head.
func dividerAlone(lines []string, i int) bool {
	line := strings.TrimSpace(lines[i])
	if strings.HasSuffix(line, ":") || strings.HasPrefix(line, "--") || strings.HasPrefix(line, "__") {
		return true
	}
	for _, next := range lines[i+1 : min(len(lines), i+4)] {
		if headFrom.MatchString(next) {
			return true
		}
	}
	return false
}

// headFollows wants two more fields among the next lines.
func headFollows(lines []string) bool {
	found := 0
	for i, line := range lines {
		if i > 6 || found >= 2 {
			break
		}
		if headRest.MatchString(line) {
			found++
		}
	}
	return found >= 2
}

var (
	// Introductions of quoted text, in the languages that mail programs write
	// them in: "On Friday Zoë wrote:".
	wrote = regexp.MustCompile(`(?i)(\bwrote|\bschrieb\b.{0,200}|\ba écrit|\bescribió|\bha scritto|\bescreveu|\bschreef\b.{0,200}|\bskrev\b.{0,200}|\bnapisał(a|\(a\))?) ?:$`)
	// A bare date and address, as some phones write it.
	dateAndAddress = regexp.MustCompile(`^\S.{0,120}\d.{0,120}<[^<> ]+@[^<> ]+> ?:$`)
)

// introduces says how many of the lines introduce quoted text; 0 for none. An
// introduction holds a date, a time or an address, so it has a digit or an "@".
func introduces(lines []string) int {
	const most = 4 // lines that an introduction is broken into
	whole := ""
	for n, line := range lines[:min(len(lines), most)] {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, ">") || len(whole)+len(line) > 600 {
			return 0
		}
		whole = strings.TrimSpace(whole + " " + line)
		if !strings.HasSuffix(whole, ":") {
			continue
		}
		if !strings.ContainsAny(whole, "0123456789@") {
			return 0
		}
		if dateAndAddress.MatchString(whole) || wrote.MatchString(whole) && (n == 0 || begins.MatchString(whole)) {
			return n + 1
		}
		return 0
	}
	return 0
}

// begins is how an introduction begins that is broken into lines: a customer's
// own line must not be taken for the first of them.
var begins = regexp.MustCompile(`(?i)^(on|am|le|el|il|op|em|no|den|på|w|dnia|a|at|lun|mar|mer|mié|jue|vie|sáb|dom|mon|tue|wed|thu|fri|sat|sun|mo|di|mi|do|fr|sa|so|\d)\b`)

// dropQuotes drops quoted lines and their introductions. Below an introduction
// without marks, everything is quoted.
func dropQuotes(lines []string) []string {
	var out []string
	for i := 0; i < len(lines); i++ {
		if quoted(lines[i]) {
			continue
		}
		n := introduces(lines[i:])
		if n == 0 {
			out = append(out, lines[i])
			continue
		}
		next := i + n
		for next < len(lines) && lines[next] == "" {
			next++
		}
		if next < len(lines) && !quoted(lines[next]) {
			return out
		}
		i += n - 1
	}
	return out
}

func quoted(line string) bool { return strings.HasPrefix(strings.TrimLeft(line, " "), ">") }

// cutSignature cuts at "-- " and at rules, where something stands above.
func cutSignature(lines []string) []string {
	written := false
	for i, line := range lines {
		if written && (line == "--" || underscores.MatchString(line)) {
			return lines[:i]
		}
		written = written || strings.TrimSpace(line) != "" && line != "--"
	}
	return lines
}

var (
	underscores = regexp.MustCompile(`^ *(_{5,}|-{5,}|={5,}|\*{5,}|—{2,}) *$`)

	// What a phone or a program adds below.
	device = regexp.MustCompile(`(?i)^(sent (from|via|with|using) \S.{0,60}|get \S.{0,30} for \S.{0,20}|` +
		`(von|aus) mein(em|er) .{1,40} gesendet|gesendet (von|mit|aus|über) \S.{0,60}|` +
		`envoyé (de|depuis|avec|à partir de|via) \S.{0,60}|obtenez \S.{0,30} pour \S.{0,20}|` +
		`enviado (desde|con|de|do|a partir do|através) \S.{0,60}|inviato (da|dal|dall['’]|con|tramite) ?\S.{0,60}|` +
		`(verzonden|verstuurd) (vanaf|vanuit|met|via) \S.{0,60}|skickat från \S.{0,60}|sendt fra \S.{0,60}|wysłan[eo] z \S.{0,60})$`)
	ownDevice = regexp.MustCompile(`(?i)^(sent from my|von meinem|von meiner|gesendet von mein|envoyé de mon|envoyé depuis mon|enviado desde mi|enviado do meu|inviato dal mio|verzonden vanaf mijn|verstuurd vanaf mijn) `)

	// Legal and scanner trailers.
	legal = regexp.MustCompile(`(?i)^(\W*)(this|the) (information in this )?(e-?mail|message|communication)\b.{0,400}\b(confidential|intended (only|solely)|privileged)|` +
		`^(\W*)(confidentiality|legal) notice\b|^(\W*)diese (e-?mail|nachricht)\b.{0,400}vertraulich|` +
		`^(\W*)ce (message|courriel|mail)\b.{0,400}confidentiel|^(\W*)este (mensaje|correo|e-?mail)\b.{0,400}confidencial|` +
		`^(\W*)(virus-free|virenfrei|this e-?mail has been (scanned|checked)|diese e-?mail wurde auf viren|este correo .{0,80}virus|garanti sans virus|sans virus)\b`)

	farewell = regexp.MustCompile(`(?i)^(kind|best|warm|many|with best|with kind)? ?(regards|wishes)[,.!]*$|^(yours|sincerely|yours sincerely|cheers|best)[,.!]*$|` +
		`^(mit )?(freundlichen|herzlichen|besten|lieben|viele|beste|liebe|freundliche|schöne) (grüßen|grüssen|grüße|grüsse)[,.!]*$|^(lg|vg|mfg)[,.!]*$|` +
		`^(bien )?cordialement[,.!]*$|^(un )?(cordial )?saludos?( cordiales)?[,.!]*$|^cordiali saluti[,.!]*$|^met vriendelijke groet(en)?[,.!]*$`)
	contact = regexp.MustCompile(`(?i)\+?\d[\d ()./-]{6,}\d|\bwww\.|https?://|\S@\S+\.\S`)
)

// cutTrailers takes what was not written for us off the end, as long as
// something is left.
func cutTrailers(lines []string) []string {
	for i, line := range lines {
		if i > 0 && legal.MatchString(line) && strings.TrimSpace(strings.Join(lines[:i], "")) != "" {
			lines = lines[:i]
			break
		}
	}
	for {
		end := len(lines)
		for end > 0 && lines[end-1] == "" {
			end--
		}
		lines = lines[:end]
		if end == 0 {
			return lines
		}
		last := strings.TrimSpace(lines[end-1])
		// A number might be a plate: "sent from the car park, LX19 KTO" stays.
		if ownDevice.MatchString(last) && len(last) < 80 || end > 1 && device.MatchString(last) && !strings.ContainsAny(last, "0123456789") {
			lines = lines[:end-1]
			continue
		}
		break
	}
	return cutFarewell(lines)
}

// cutFarewell cuts from "Kind regards" on where a card follows: a number or an
// address of the customer's, which could be taken for a number plate. A mere name
// stays, and so does what people still add below.
func cutFarewell(lines []string) []string {
	const most = 10 // lines of a card
	for i := len(lines) - 1; i > 0 && len(lines)-i <= most; i-- {
		if !farewell.MatchString(strings.TrimSpace(lines[i])) {
			continue
		}
		if contact.MatchString(strings.Join(lines[i+1:], "\n")) && strings.TrimSpace(strings.Join(lines[:i], "")) != "" {
			return lines[:i]
		}
		break
	}
	return lines
}

// join makes one text again: no empty lines at either end, at most one between.
func join(lines []string) string {
	var out []string
	for _, line := range lines {
		if line == "" && (len(out) == 0 || out[len(out)-1] == "") {
			continue
		}
		out = append(out, line)
	}
	text := strings.TrimSpace(strings.Join(out, "\n"))
	if utf8.RuneCountInString(text) > maxReply {
		text = string([]rune(text)[:maxReply-1]) + "…"
	}
	return text
}
