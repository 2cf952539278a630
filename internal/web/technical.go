package web

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"io/fs"
	"net"
	"strings"
)

// technical tells an error of the database, the disk or the network from one
// that the desk worded for the cook: its words would help nobody at the gate,
// and what it means is that passbell itself has a problem.
func technical(err error) bool {
	if err == nil {
		return false
	}
	var (
		coded  interface{ Code() int }        // the embedded database
		stated interface{ SQLState() string } // the other one
		file   *fs.PathError
		wire   net.Error
	)
	if errors.As(err, &coded) || errors.As(err, &stated) || errors.As(err, &file) || errors.As(err, &wire) {
		return true
	}
	for _, target := range []error{sql.ErrNoRows, sql.ErrTxDone, sql.ErrConnDone, driver.ErrBadConn, context.Canceled, context.DeadlineExceeded} {
		if errors.Is(err, target) {
			return true
		}
	}
	// A closed database has no error value of its own.
	return strings.Contains(err.Error(), "sql: ")
}
