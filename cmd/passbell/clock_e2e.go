//go:build e2e

package main

import (
	"errors"
	"io/fs"
	"os"
	"strconv"
	"strings"
	"time"
	"unsafe"

	"github.com/jonboulle/clockwork"
)

// clockFile is the environment variable that names the file in which a test
// writes by how many seconds a process's clock is set forward, or back.
const clockFile = "PASSBELL_TEST_CLOCK"

// clock is the machine's, as if somebody set it while the process runs.
func clock() clockwork.Clock {
	return setClock{clockwork.NewRealClock(), os.Getenv(clockFile)}
}

// setClock shows another time than the machine; its timers are the machine's.
type setClock struct {
	clockwork.Clock
	file string // "" for the machine's time
}

func (c setClock) Now() time.Time                  { return reset(c.Clock.Now(), c.offset()) }
func (c setClock) Since(t time.Time) time.Duration { return c.Now().Sub(t) }
func (c setClock) Until(t time.Time) time.Duration { return t.Sub(c.Now()) }

// offset gives the seconds in the file.
func (c setClock) offset() int64 {
	if c.file == "" {
		return 0
	}
	b, err := os.ReadFile(c.file)
	if errors.Is(err, fs.ErrNotExist) {
		return 0
	}
	seconds, bad := strconv.ParseInt(strings.TrimSpace(string(b)), 10, 64)
	if err = errors.Join(err, bad); err != nil {
		panic(err)
	}
	return seconds
}

// reset moves what time.Now gave by seconds on the wall and leaves its
// monotonic reading, as setting a machine's clock does; Time.Add moves both. It
// rests on the layout of time.Time, by its source in Go 1.26: the first word has
// the wall's seconds from its bit 30 on. TestASetClock says so if that changes.
func reset(t time.Time, seconds int64) time.Time {
	*(*uint64)(unsafe.Pointer(&t)) += uint64(seconds) << 30
	return t
}
