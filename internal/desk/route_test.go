package desk_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/phone"
)

func TestRoutes(t *testing.T) {
	t.Parallel()
	routes := desk.Routes{
		{Adapter: "gb", Countries: []string{"GB"}, Lines: []phone.Line{phone.Mobile}},
		{Adapter: "replies", Kinds: []night.MessageKind{night.Reply}},
		{Adapter: "abroad", Countries: []string{"US", "DE"}},
		{Adapter: "mail", Mail: true},
	}
	first := map[string]string{
		"+447700900123":       "gb",
		"+442079460123":       "replies", // a landline in Britain: only the one without conditions takes it
		"+12025550123":        "abroad",
		"bethan@kitchen.test": "mail",
		"+33639980012":        "replies", // no other takes it, so the kind is no matter
	}
	for to, want := range first {
		assert.Equal(t, want, routes.First(to, night.Reminder), to)
	}
	assert.Equal(t, "replies", routes.First("+33639980012", night.Reply))

	m := night.Message{Adapter: "gb", To: "+447700900123", Kind: night.Reminder}
	fall, ok := routes.Next(m, []night.Order{{Email: "bethan@kitchen.test"}})
	assert.True(t, ok)
	assert.Equal(t, night.Fall{Adapter: "mail", To: "bethan@kitchen.test"}, fall)
	_, ok = routes.Next(m, []night.Order{{}})
	assert.False(t, ok, "no address is known")
	m.Fallen = true
	_, ok = routes.Next(m, []night.Order{{Email: "bethan@kitchen.test"}})
	assert.False(t, ok, "a message falls once")
}
