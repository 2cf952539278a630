package wording

import "strings"

// SMSLink gives a link that opens a phone's own texting app with the number and
// the text filled in (RFC 5724). Everything but unreserved characters is
// percent-encoded as UTF-8 (RFC 3986 §2.3): a space is %20, since a plus stays
// a plus, and &, # and ? would cut the text.
func SMSLink(e164, text string) string {
	return "sms:" + e164 + "?body=" + percent(text)
}

func percent(s string) string {
	const hex = "0123456789ABCDEF"
	s = strings.ReplaceAll(strings.ReplaceAll(s, "\r\n", "\n"), "\n", "\r\n") // §2.2: line breaks are %0D%0A
	var b strings.Builder
	for i := range len(s) {
		c := s[i]
		if 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || '0' <= c && c <= '9' || strings.IndexByte("-._~", c) >= 0 {
			b.WriteByte(c)
			continue
		}
		b.WriteByte('%')
		b.WriteByte(hex[c>>4])
		b.WriteByte(hex[c&15])
	}
	return b.String()
}
