package email

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
)

// ours is an id as messageID makes it.
var ours = messageID("m42-1", "orders@larkfield.example", "zoe@example.net", "larkfield.example")

func crlf(s string) []byte { return []byte(strings.ReplaceAll(s, "\n", "\r\n")) }

func notification(status, returned string) string {
	return `Return-Path: <>
From: Mail Delivery Subsystem <MAILER-DAEMON@mail.example>
To: orders@larkfield.example
Subject: Returned mail
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status;
      boundary="RAA14128.773615765/mail.example"

--RAA14128.773615765/mail.example

The original message was received at Fri, 13 Mar 2026 16:30:00 +0000

--RAA14128.773615765/mail.example
content-type: message/delivery-status

` + status + `
--RAA14128.773615765/mail.example
content-type: message/rfc822

` + returned + `
--RAA14128.773615765/mail.example--
`
}

// The notifications follow the examples of RFC 3464 Appendix E and the fields of
// its §2 (from memory); names and addresses are ours.
func TestReadReport(t *testing.T) {
	t.Parallel()
	original := "Message-ID: <" + ours + ">\nSubject: Your order\nTo: zoe@example.net\n\nReply HERE\n"
	tests := []struct {
		name string
		mail string
		none bool
		want report
	}{
		{
			name: "simple failure (E.1)",
			mail: notification("Reporting-MTA: dns; mail.example\n\nOriginal-Recipient: rfc822;zoe@example.net\nFinal-Recipient: rfc822;zoe@example.net\n"+
				"Action: failed\nStatus: 4.0.0\nDiagnostic-Code: smtp; 426 connection timed out\nLast-Attempt-Date: Fri, 13 Mar 2026 17:15:49 +0000\n", original),
			want: report{id: ours, status: adapters.Failed, reason: "the e-mail came back (4.0.0)"},
		},
		{
			name: "comment behind the status (E.2), the server's answer knows better",
			mail: notification("Reporting-MTA: dns; mail.example\n\nFinal-Recipient: rfc822;zoe@example.net\n"+
				"Action: failed\nStatus: 5.0.0 (permanent failure)\nDiagnostic-Code: smtp;\n 550 5.1.1 <zoe@example.net>: no such user (203.0.113.9)\n", original),
			want: report{id: ours, status: adapters.Failed, reason: "the e-mail came back: there is no such mailbox (5.1.1)"},
		},
		{
			name: "delayed (E.4)",
			mail: notification("Reporting-MTA: dns; mail.example\n\nFinal-Recipient: rfc822;zoe@example.net\nAction: delayed\nStatus: 4.0.0 (temporarily unreachable)\n", original),
			want: report{id: ours, status: adapters.OnTheWay},
		},
		{
			name: "delivered",
			mail: notification("Reporting-MTA: dns; mail.example\n\nFinal-Recipient: rfc822; zoe@example.net\nAction: delivered\nStatus: 2.0.0\n", original),
			want: report{id: ours, status: adapters.Delivered},
		},
		{
			name: "relayed, by the envelope id alone",
			mail: notification("Reporting-MTA: dns; mail.example\nOriginal-Envelope-Id: "+ours+"\n\nFinal-Recipient: rfc822; zoe@example.net\nAction: relayed (to 203.0.113.9)\nStatus: 2.1.9\n", "Subject: Your order\n"),
			want: report{id: ours, status: adapters.Delivered},
		},
		{
			name: "forwarded to two mailboxes of which one took it",
			mail: notification("Reporting-MTA: dns; mail.example\n\nFinal-Recipient: rfc822;zoe@example.net\nAction: delivered\nStatus: 2.0.0\n\n"+
				"Final-Recipient: rfc822;old@example.net\nAction: failed\nStatus: 5.2.2\n", original),
			want: report{id: ours, status: adapters.Delivered},
		},
		{
			name: "by References where nothing is returned",
			mail: "References: <other@example.net>\n <" + ours + ">\n" + notification("Reporting-MTA: dns; mail.example\n\nAction: failed\nStatus: 5.2.2\n", "Subject: Your order\n"),
			want: report{id: ours, status: adapters.Failed, reason: "the e-mail came back: the mailbox is full (5.2.2)"},
		},
		{
			name: "not about ours",
			mail: notification("Reporting-MTA: dns; mail.example\n\nAction: failed\nStatus: 5.2.2\n", "Message-ID: <somebody@else.example>\n"),
			want: report{status: adapters.Failed, reason: "the e-mail came back: the mailbox is full (5.2.2)"},
		},
		{
			name: "without a report type",
			mail: strings.Replace(notification("Reporting-MTA: dns; mail.example\n\nAction: failed\nStatus: 5.4.1\n", original), " report-type=delivery-status;", "", 1),
			want: report{id: ours, status: adapters.Failed, reason: "the e-mail came back: the customer's mail server does not answer (5.4.1)"},
		},
		{
			name: "a plain notice with the failed address",
			mail: "From: Mail Delivery System <mailer-daemon@mail.example>\nX-Failed-Recipients: zoe@example.net\nAuto-Submitted: auto-replied\n\n" +
				"This message was created automatically.\n\n------ a copy ------\n\nMessage-ID: <" + ours + ">\n",
			want: report{id: ours, status: adapters.Failed, reason: "the e-mail came back"},
		},
		{name: "a reply", mail: "From: zoe@example.net\nIn-Reply-To: <" + ours + ">\n\nI'm here\n", none: true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			e := readEntity(crlf(tt.mail))
			got, ok := readReport(&e)
			require.Equal(t, !tt.none, ok)
			require.Equal(t, tt.want, got)
		})
	}
}

func TestWhyKeepsAddressesOut(t *testing.T) {
	t.Parallel()
	got := why("5.0.0", "smtp; 550 zoe@example.net is not known at 192.0.2.45 (5.7.1 by rule)")
	require.Equal(t, "the e-mail came back: the customer's mail server does not want it (5.7.1)", got)
	require.Equal(t, "the e-mail came back", why("", "smtp; mailbox at 192.0.2.4 unavailable"))
}
