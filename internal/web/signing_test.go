package web_test

import (
	"golang.org/x/crypto/bcrypt"

	"passbell/internal/web"
)

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
