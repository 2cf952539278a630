package templates

import "embed"

// Words holds what the pages say in each language, words/LANGUAGE.toml: each
// line is the English sentence and what is said for it. English itself has only
// those lines that change with a number.
//
//go:embed words
var Words embed.FS
