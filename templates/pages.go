package templates

import "embed"

// Pages holds the templates of the web pages, pages/NAME.html, and what they
// load, static/NAME. The scripts of htmx in it are under the Zero-Clause BSD
// licence, see static/README.txt.
//
//go:embed pages static
var Pages embed.FS
