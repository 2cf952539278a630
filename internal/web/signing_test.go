package web_test

import (
	"github.com/chromedp/cdproto/runtime"
	"golang.org/x/crypto/bcrypt"

	"passbell/internal/web"
)

func awaitPromise(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }

// withPassphrase sets a passphrase; "" for none.
func withPassphrase(words string) func(*web.Config) {
	return func(c *web.Config) {
		if words == "" {
			return
		}
		hash, err := bcrypt.GenerateFromPassword([]byte(words), bcrypt.MinCost)
		if err != nil {
			panic(err)
		}
		c.Passphrase = string(hash)
	}
}
