package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"github.com/lib/pq"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"passbell/internal/night"
)

// share names the network file system that a folder is on; "" for a disk of
// this machine, or where that can't be told.
type share func(folder string) string

// checkPlace refuses what would otherwise fail with a riddle, or hours later.
func checkPlace(path string, on share) error {
	folder := filepath.Dir(path)
	info, err := os.Stat(folder)
	switch {
	case err != nil:
		return fmt.Errorf("the folder for the database %s can't be used: %w", path, err)
	case !info.IsDir():
		return fmt.Errorf("%s is no folder, so the database %s can't be there", folder, path)
	}
	// A link may lead from this disk to a share.
	if real, err := filepath.EvalSymlinks(path); err == nil {
		folder = filepath.Dir(real)
	}
	if name := on(folder); name != "" {
		return fmt.Errorf("the database %s is on a network share (%s), where its write-ahead log can't work and a night could be lost: put it on a disk of this machine", path, name)
	}
	return writable(path, folder)
}

// writable tries what the database will do: write its file, and make others
// beside it.
func writable(path, folder string) error {
	beside, err := os.CreateTemp(folder, ".passbell-*")
	if err == nil {
		err = errors.Join(beside.Close(), os.Remove(beside.Name()))
	}
	if err == nil {
		var file *os.File
		switch file, err = os.OpenFile(path, os.O_RDWR, 0); {
		case err == nil:
			err = file.Close()
		case errors.Is(err, fs.ErrNotExist):
			err = nil
		}
	}
	switch {
	case err == nil:
		return nil
	case errors.Is(err, syscall.ENOSPC):
		return fmt.Errorf("database %s: %w", path, night.ErrNoRoom)
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return fmt.Errorf("passbell may not write in %s, so it can't keep the database %s there: let its user write there, or choose another place: %w", folder, path, err)
	}
	return fmt.Errorf("the database %s can't be written: %w", path, err)
}

// worded gives a full disk the words of night.ErrNoRoom; other errors stay.
func worded(err error) error {
	if err == nil || errors.Is(err, night.ErrNoRoom) || !full(err) {
		return err
	}
	return &night.StoreError{Doing: "write", Err: fmt.Errorf("%w (%w)", night.ErrNoRoom, err)}
}

// full tells whether an error of either database says that its disk is full.
func full(err error) bool {
	var file *sqlite.Error
	if errors.As(err, &file) {
		return file.Code() == sqlite3.SQLITE_FULL || file.Code() == sqlite3.SQLITE_IOERR_SHMSIZE
	}
	var server *pq.Error
	const diskFull = "53100" // PostgreSQL, appendix A: disk_full
	return errors.As(err, &server) && server.Code == diskFull
}
