package wording_test

import (
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"passbell/internal/wording"
)

func TestSMSLink(t *testing.T) {
	t.Parallel()
	// RFC 5724 §2.5.
	assert.Equal(t, "sms:+15105550101?body=hello%20there", wording.SMSLink("+15105550101", "hello there"))
	// flutter/flutter #156281: an ampersand cut the text.
	assert.Equal(t, "sms:+447700900123?body=Mac%20%26%20cheese%2C%20%231%3F%20%C3%A0%20la%20cr%C3%A8me%0D%0A1%2B1",
		wording.SMSLink("+447700900123", "Mac & cheese, #1? à la crème\n1+1"))
}

func TestSMSLinkBringsTheWholeText(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := strings.ReplaceAll(rapid.String().Draw(t, "text"), "\r", "")
		link, err := url.Parse(wording.SMSLink("+447700900123", text))
		require.NoError(t, err)
		require.Empty(t, link.Fragment)
		values, err := url.ParseQuery(link.RawQuery)
		require.NoError(t, err)
		require.Equal(t, text, strings.ReplaceAll(values.Get("body"), "\r\n", "\n"))
	})
}
