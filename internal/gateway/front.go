package gateway

import (
	"net/http"

	"passbell/internal/config"
	"passbell/internal/web"
)

// front stands before the pages of all kitchens: each request goes to the
// kitchen whose name it asks for. The one under "" has them all to itself.
type front map[string]http.Handler

func (f front) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h, ok := f[config.HostName(r.Host)]
	if !ok {
		h, ok = f[""]
	}
	if !ok { // and no word of who is served here
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Cache-Control", "no-store")
		http.Error(w, "Nothing is served under this name.", http.StatusNotFound)
		return
	}
	h.ServeHTTP(w, r)
}

// pages makes the handler of all that is served of a kitchen.
func (k *kitchen) pages(looks *web.Looks) (http.Handler, error) {
	hooks := map[string]http.Handler{}
	for _, w := range k.wires {
		if h := w.hook(); h != nil {
			hooks[w.Name] = h
		}
	}
	h := k.house
	return web.New(web.Config{
		Desk: h.Desk, Inbox: placer{k}, Live: h.Live, Kitchen: h.Kitchen, Keep: h.rows, Price: h.Price, Language: h.Config.Kitchen.Language, Hooks: hooks,
		Passphrase: h.Config.Passphrase, Token: h.Config.Token,
		NewNight: h.newNight, Ways: ways{k},
		ClosesItself: h.Config.Night.CloseByItself, KeepDays: h.Config.Kitchen.KeepDays,
		Sessions: h.rows.Sessions(h.Clock.Now), Now: h.Clock.Now, Log: h.log,
		Demo: h.OnlyPractice(), Looks: looks,
	})
}
