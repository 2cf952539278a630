package web

import (
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/plan"
)

func TestSayKnowsSentencesFromElsewhere(t *testing.T) {
	t.Parallel()
	tongues := tonguesIn(t, "US")
	for _, tt := range []struct{ name, said, want string }{
		{"whole", string(plan.OptedOut), "pidió no recibir más mensajes"},
		{"with a reference", "the number is that of order K420", "el número es el del pedido K420"},
		{"a state within", "order K420 is handed out", "el pedido K420 está entregado"},
		{"put together", "37 told · 1 needs a call · 4 here, longest wait 13 min", "37 avisados · 1 por llamar · 4 aquí, espera máxima 13 min"},
		{"one", "1 told", "1 avisado"},
		{"intent and reason", "coming: the number is that of order K420", "en camino: el número es el del pedido K420"},
		{"an error of the desk", (&desk.SlotError{Slot: 20 * 60, Why: "the night has slots every 10 minutes from 16:30 to 19:00"}).Error(), "turno 20:00: la noche tiene turnos cada 10 minutos de 16:30 a 19:00"},
		{"quoted", `"half past never" names no time`, `"half past never" no dice ninguna hora`},
		{"a moment", "reminder for Fri 4 Dec 13:00", "recordatorio para vie 4 dic 1:00 pm"},
		{"a Saturday", "Sat 5 Dec 09:00", "sáb 5 dic 9:00 am"},
		{"a word of the pages", "not collected", "no recogido"},
		{"a network's own words", "ESME_RSUBMITFAIL (0x45)", "ESME_RSUBMITFAIL (0x45)"},
		{"nothing", "", ""},
		{"several lines", "order K420 is\ntold", "order K420 is\ntold"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, tt.want, tongues["es"].say(tt.said))
			require.Equal(t, tt.said, tongues["en"].say(tt.said), "English stays")
		})
	}
	require.Equal(t, "sábado 5 de diciembre", tongues["es"].day(night.Date{Year: 2026, Month: 12, Day: 5}))
	require.Equal(t, "Saturday, December 5", tongues["en"].day(night.Date{Year: 2026, Month: 12, Day: 5}))
}

func FuzzSay(f *testing.F) {
	tongues := tonguesIn(f, "GB")
	for _, s := range []string{"order K420 is told", "a: b; c · d, e", "%s %d %!", "slot 1: order  still has it: move the order first"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		require.Equal(t, s, tongues["en"].say(s))
		tongues["es"].say(s) // ends, and takes anything
	})
}
