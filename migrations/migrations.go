// Package migrations holds the SQL that builds and upgrades the database, one
// folder for each kind of database.
package migrations

import (
	"embed"
	"io/fs"
)

//go:embed sqlite/*.sql
var files embed.FS

// Dir gives the migrations of the embedded database.
func Dir() fs.FS {
	dir, err := fs.Sub(files, "sqlite")
	if err != nil {
		panic(err) // the folder is part of the binary
	}
	return dir
}
