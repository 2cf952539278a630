// Package migrations holds the SQL that builds and upgrades the database, one
// folder for each kind of database.
package migrations

import (
	"embed"
	"io/fs"
)

//go:embed sqlite/*.sql postgres/*.sql
var files embed.FS

// Dir gives the migrations of a kind of database, "sqlite" or "postgres".
func Dir(kind string) fs.FS {
	dir, err := fs.Sub(files, kind)
	if err != nil {
		panic(err) // the folders are part of the binary
	}
	return dir
}
