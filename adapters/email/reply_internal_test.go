package email

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

// The replies are invented; their shapes are those that mail programs write, from
// memory, no source.
func TestReply(t *testing.T) {
	t.Parallel()
	const here = "I'm here, grey golf LX19 KTO"
	tests := []struct {
		name, mail, want string
	}{
		{name: "plain", mail: here, want: here},
		{name: "two paragraphs", mail: "Hi,\n\n\n" + here + "\n\nZoë", want: "Hi,\n\n" + here + "\n\nZoë"},
		{
			name: "written above a marked quotation",
			mail: here + "\n\nOn Fri, 13 Mar 2026 at 16:30, Larkfield Dumpling Kitchen <orders@larkfield.example> wrote:\n> Reply HERE when you are here.\n> K401",
			want: here,
		},
		{
			name: "introduction broken over lines",
			mail: here + "\n\nOn Fri, 13 Mar 2026 at 16:30, Larkfield Dumpling Kitchen\n<orders@larkfield.example>\nwrote:\n\n> Reply HERE",
			want: here,
		},
		{
			name: "quotation without marks",
			mail: here + "\n\nOn 13 Mar 2026, at 16:30, Larkfield <orders@larkfield.example> wrote:\n\nReply HERE when you are here.\nCar and plate please.",
			want: here,
		},
		{
			name: "written below the quotation",
			mail: "On 13/03/2026 16:30, Larkfield wrote:\n> Reply HERE when you are here.\n> Car and plate please.\n\n" + here + "\n\n-- \nZoë Marsh\n01632 960 014",
			want: here,
		},
		{
			name: "written between the quoted lines",
			mail: "On 13/03/2026 16:30, Larkfield wrote:\n> Which car?\ngrey golf\n> Which plate?\nLX19 KTO",
			want: "grey golf\nLX19 KTO",
		},
		{
			name: "quotation of a quotation",
			mail: "yes\n> no?\n>> maybe\n > still quoted",
			want: "yes",
		},
		{
			name: "German",
			mail: "Bin da, grauer Golf\n\nAm Fr., 13. März 2026 um 17:30 Uhr schrieb Larkfield <orders@larkfield.example>:\n\n> Bitte melden",
			want: "Bin da, grauer Golf",
		},
		{
			name: "German with the name first",
			mail: "Bin da\n\nLarkfield Dumpling Kitchen <orders@larkfield.example> schrieb am Fr., 13. März 2026, 17:30:\n\n> Bitte melden",
			want: "Bin da",
		},
		{
			name: "French, with a no-break space before the colon",
			mail: "Je suis là, golf grise\n\nLe ven. 13 mars 2026 à 17:30, Larkfield <orders@larkfield.example> a écrit\u00A0:\n\n> Répondez ICI",
			want: "Je suis là, golf grise",
		},
		{
			name: "Spanish",
			mail: "Ya estoy aquí, golf gris\n\nEl vie, 13 mar 2026 a las 17:30, Larkfield (<orders@larkfield.example>) escribió:\n\n> Responda AQUI",
			want: "Ya estoy aquí, golf gris",
		},
		{
			name: "Italian",
			mail: "Sono qui\n\nIl giorno ven 13 mar 2026 alle ore 17:30 Larkfield <orders@larkfield.example> ha scritto:\n\n> Rispondi",
			want: "Sono qui",
		},
		{
			name: "Dutch",
			mail: "Ik ben er\n\nOp vr 13 mrt 2026 om 17:30 schreef Larkfield <orders@larkfield.example>:\n\n> Antwoord",
			want: "Ik ben er",
		},
		{
			name: "a date and an address",
			mail: here + "\n\n2026-03-13 17:30 GMT+01:00 Larkfield <orders@larkfield.example>:\n\n> Reply HERE",
			want: here,
		},
		{
			name: "the head of the answered e-mail below a rule",
			mail: here + "\n\n________________________________\nFrom: Larkfield <orders@larkfield.example>\nSent: Friday, March 13, 2026 4:30 PM\nTo: Zoë Marsh\nSubject: Your order\n\nReply HERE when you are here.",
			want: here,
		},
		{
			name: "the same with bold marks and no rule",
			mail: here + "\n\n*From:* Larkfield <orders@larkfield.example>\n*Date:* Friday, March 13, 2026\n*To:* Zoë\n\nReply HERE",
			want: here,
		},
		{
			name: "the same in German",
			mail: "Bin da\n\nVon: Larkfield <orders@larkfield.example>\nGesendet: Freitag, 13. März 2026 17:30\nAn: Zoë\nBetreff: Ihre Bestellung\n\nBitte melden",
			want: "Bin da",
		},
		{
			name: "the same in French",
			mail: "Je suis là\n\nDe : Larkfield <orders@larkfield.example>\nEnvoyé : vendredi 13 mars 2026 17:30\nÀ : Zoë\nObjet : Votre commande\n\nRépondez",
			want: "Je suis là",
		},
		{
			name: "the same in Spanish",
			mail: "Ya llegué\n\nDe: Larkfield <orders@larkfield.example>\nEnviado el: viernes, 13 de marzo de 2026\nPara: Zoë\nAsunto: Su pedido\n\nResponda",
			want: "Ya llegué",
		},
		{
			name: "a divider",
			mail: here + "\n\n-----Original Message-----\nFrom: Larkfield\nReply HERE",
			want: here,
		},
		{
			name: "a divider in German",
			mail: "Bin da\n\n-----Ursprüngliche Nachricht-----\nVon: Larkfield\nBitte melden",
			want: "Bin da",
		},
		{
			name: "forwarded with a word of one's own",
			mail: "my husband comes instead\n\n---------- Forwarded message ---------\nFrom: Larkfield <orders@larkfield.example>\nReply HERE",
			want: "my husband comes instead",
		},
		{
			name: "forwarded, as another program puts it",
			mail: "he comes instead\n\nBegin forwarded message:\n\nFrom: Larkfield\nSubject: Your order\n\nReply HERE",
			want: "he comes instead",
		},
		{name: "forwarded alone", mail: "---------- Forwarded message ---------\nFrom: Larkfield\nReply HERE", want: ""},
		{name: "quoted alone", mail: "On 13/03/2026 16:30, Larkfield wrote:\n> Reply HERE", want: ""},
		{name: "a signature", mail: here + "\n-- \nZoë Marsh\n+44 1632 960014", want: here},
		{name: "a signature whose space was lost", mail: here + "\n--\nZoë Marsh", want: here},
		{name: "what the phone adds", mail: here + "\n\nSent from my phone", want: here},
		{name: "what the phone adds, in German", mail: "Bin da\n\nVon meinem Telefon gesendet", want: "Bin da"},
		{name: "what the phone adds, in German, another way", mail: "Bin da\n\nGesendet von meinem Telefon", want: "Bin da"},
		{name: "what the phone adds, in French", mail: "Je suis là\n\nEnvoyé de mon téléphone", want: "Je suis là"},
		{name: "what the phone adds, in Spanish", mail: "Ya estoy\n\nEnviado desde mi teléfono", want: "Ya estoy"},
		{
			name: "what the phone adds, above the quotation",
			mail: here + "\n\nSent from my phone\n\nOn 13 Mar 2026, at 16:30, Larkfield <orders@larkfield.example> wrote:\n\n> Reply HERE",
			want: here,
		},
		{name: "nothing but what the phone adds", mail: "\n\nSent from my phone\n", want: ""},
		{
			name: "a card below the farewell",
			mail: here + "\n\nKind regards\nZoë Marsh\nMarsh & Sons\nTel. 01632 960 014\nwww.marsh.example",
			want: here,
		},
		{name: "a farewell and a name stay", mail: here + "\n\nBest wishes,\nZoë", want: here + "\n\nBest wishes,\nZoë"},
		{
			name: "what is added below the farewell stays",
			mail: "I am here\n\nKind regards\nZoë\nPS grey golf LX19 KTO",
			want: "I am here\n\nKind regards\nZoë\nPS grey golf LX19 KTO",
		},
		{
			name: "a legal trailer",
			mail: here + "\n\nThis e-mail and any attachments are confidential and intended only for the addressee.\nIf you are not...",
			want: here,
		},
		{name: "from: is no head on its own", mail: "From: the green gate\nI can see you", want: "From: the green gate\nI can see you"},
		{name: "to be on the way is no introduction", mail: "On my way, 5 min:\ngrey golf", want: "On my way, 5 min:\ngrey golf"},
		{name: "wrote without a date is no introduction", mail: "my wife wrote:\nshe is here", want: "my wife wrote:\nshe is here"},
		{name: "a sentence that begins like an introduction", mail: "On foot today, number 7\nwhere do I go?", want: "On foot today, number 7\nwhere do I go?"},
		{name: "sent from stays where it is all there is", mail: "Sent from the office, I come at 5", want: "Sent from the office, I come at 5"},
		{name: "sent from stays where a plate is in it", mail: "I'm here\nsent from the car park, LX19 KTO", want: "I'm here\nsent from the car park, LX19 KTO"},
		{name: "a customer's own words", mail: "sorry, I lost the original message", want: "sorry, I lost the original message"},
		{name: "signs that nobody sees", mail: "\uFEFFI\u200B'm\u00A0here\u200E", want: "I'm here"},
		{name: "nothing", mail: " \n\n \n", want: ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, tt.want, reply(tt.mail))
		})
	}
}

func TestReplyIsBounded(t *testing.T) {
	t.Parallel()
	got := reply(strings.Repeat("dumpling ", 5000))
	require.LessOrEqual(t, utf8.RuneCountInString(got), maxReply)
	require.True(t, utf8.ValidString(reply(strings.Repeat("ü", 3000))))
}

func TestFromHTML(t *testing.T) {
	t.Parallel()
	tests := []struct{ name, html, want string }{
		{name: "words", html: "<p>I'm here</p>", want: "I'm here"},
		{name: "lines", html: "I'm here<br>grey golf<br/>LX19 KTO", want: "I'm here\ngrey golf\nLX19 KTO"},
		{name: "blocks", html: "<div>one</div><div>two</div>", want: "one\ntwo"},
		{name: "paragraphs", html: "<p>one</p><p>two</p>", want: "one\n\ntwo"},
		{name: "inline elements do not part words", html: "gr<b>ey</b> <i>golf</i>", want: "grey golf"},
		{name: "white space", html: "  grey \n\t golf&nbsp; <span> LX19</span>", want: "grey golf LX19"},
		{name: "entities", html: "2 &lt; 3 &amp; &#8364;18 &eacute;", want: "2 < 3 & €18 é"},
		{name: "style, script and title are no text", html: "<head><title>t</title><style>p{}</style></head><script>x<y</script>here", want: "here"},
		{name: "comments", html: "a<!-- > b -->c", want: "ac"},
		{name: "a quotation is marked", html: "here<blockquote><p>Reply <br>HERE</p></blockquote>below", want: "here\n\n> Reply\n> HERE\n\nbelow"},
		{name: "an attribute with a >", html: `<a href="x>y">gate</a>`, want: "gate"},
		{name: "hidden", html: `<div style="display: none">peek</div>seen`, want: "seen"},
		{name: "cells", html: "<table><tr><td>grey</td><td>golf</td></tr></table>", want: "grey golf"},
		{name: "no tag at all", html: "5 < 6 and <", want: "5 < 6 and <"},
		{name: "nothing closed", html: "<div><p>here<b>", want: "here"},
		{name: "empty", html: "", want: ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := fromHTML(tt.html)
			var lines []string
			for _, line := range strings.Split(got, "\n") {
				lines = append(lines, strings.TrimRight(strings.TrimSuffix(line, "> "), " "))
			}
			require.Equal(t, tt.want, strings.Join(lines, "\n"))
		})
	}
}
