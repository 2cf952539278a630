// Package templates holds the texts that customers get, embedded.
package templates

import "embed"

// Texts holds the message texts: texts/LANGUAGE/NAME.tmpl.
//
//go:embed texts
var Texts embed.FS
