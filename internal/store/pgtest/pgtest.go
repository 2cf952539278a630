//go:build unix

// Package pgtest starts a throw-away PostgreSQL of the installed binaries for a
// test. Where there are none the test skips, except where CI=true.
package pgtest

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	_ "github.com/lib/pq" // the driver that databases are made with
	"github.com/stretchr/testify/require"
)

// Server is one PostgreSQL on this machine's loopback.
type Server struct {
	bin, data string
	port      int
	settings  []string
	process   *exec.Cmd
	log       bytes.Buffer
	made      atomic.Int64
}

// Start starts a server that ends with the test. Each setting is one of
// postgresql.conf, such as "max_connections=200". It does not flush to the disk
// unless a setting says fsync=on: only a power cut could tell.
func Start(t testing.TB, settings ...string) *Server {
	t.Helper()
	return StartIn(t, memory(), settings...)
}

// StartIn is Start with the data in a new folder under dir: where it lies on a
// disk, fsync=on costs what it costs on a night.
func StartIn(t testing.TB, dir string, settings ...string) *Server {
	t.Helper()
	bin, err := binaries()
	if err != nil {
		if os.Getenv("CI") == "true" {
			require.NoError(t, err)
		}
		t.Skipf("no PostgreSQL: %v", err)
	}
	s := &Server{bin: bin, settings: append([]string{"fsync=off"}, settings...)}
	dir, err = os.MkdirTemp(dir, "passbell-pg-")
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	s.data = filepath.Join(dir, "data")
	if cred := unprivileged(); cred != nil {
		require.NoError(t, os.Chown(dir, int(cred.Uid), int(cred.Gid)))
	}
	out, err := s.command("initdb", "-D", s.data, "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync").CombinedOutput()
	require.NoError(t, err, "initdb: %s", out)
	s.port = freePort(t)
	s.Go(t)
	t.Cleanup(func() { s.Kill(t) })
	return s
}

// Go starts the server's process, on its port and with its data, and waits
// until it answers.
func (s *Server) Go(t testing.TB) {
	t.Helper()
	args := []string{"-D", s.data, "-p", fmt.Sprint(s.port), "-k", "", "-h", "127.0.0.1"}
	for _, set := range s.settings {
		args = append(args, "-c", set)
	}
	s.log.Reset()
	s.process = s.command("postgres", args...)
	s.process.Stderr = &s.log
	require.NoError(t, s.process.Start())
	db, err := sql.Open("postgres", s.admin())
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	require.Eventually(t, func() bool {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		return db.PingContext(ctx) == nil
	}, time.Minute, 20*time.Millisecond, "PostgreSQL does not answer")
}

// Kill ends the server at once, as a crash would. It may be called twice.
func (s *Server) Kill(t testing.TB) {
	t.Helper()
	if s.process == nil {
		return
	}
	// SIGQUIT is the server's own word for leaving without a checkpoint; its
	// children go with it.
	require.NoError(t, s.process.Process.Signal(syscall.SIGQUIT))
	err := s.process.Wait()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		require.NoError(t, err)
	}
	s.process = nil
}

// Addr is where the server listens.
func (s *Server) Addr() string { return fmt.Sprintf("127.0.0.1:%d", s.port) }

// PastWalls gives the superuser's URL of the database at place, a URL that Database
// gave: whoever opens that sees every kitchen.
func (s *Server) PastWalls(place string) string {
	name, _, _ := strings.Cut(place[strings.LastIndex(place, "/"):], "?")
	return strings.Replace(s.Superuser(), "/postgres?", name+"?", 1)
}

// Superuser gives the URL of the server's own database for its superuser.
func (s *Server) Superuser() string { return s.admin() }

func (s *Server) admin() string {
	return fmt.Sprintf("postgres://postgres@%s/postgres?sslmode=disable", s.Addr())
}

// Database makes a database that belongs to a role without any privilege, and
// gives its URL.
func (s *Server) Database(t testing.TB) string {
	t.Helper()
	name := fmt.Sprintf("kitchen%d", s.made.Add(1))
	db, err := sql.Open("postgres", s.admin())
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	for _, q := range []string{
		`CREATE ROLE ` + name + ` LOGIN NOSUPERUSER NOBYPASSRLS PASSWORD 'a secret of the test'`,
		`CREATE DATABASE ` + name + ` OWNER ` + name,
	} {
		_, err := db.Exec(q)
		require.NoError(t, err)
	}
	u := url.URL{Scheme: "postgres", User: url.UserPassword(name, "a secret of the test"), Host: s.Addr(), Path: "/" + name}
	return u.String()
}

// command runs one of the server's programs as somebody whom it accepts: it
// refuses to run as root.
func (s *Server) command(name string, args ...string) *exec.Cmd {
	c := exec.Command(filepath.Join(s.bin, name), args...)
	c.Dir = os.TempDir()
	c.Env = []string{"PATH=" + os.Getenv("PATH"), "LC_ALL=C.UTF-8"}
	c.SysProcAttr = &syscall.SysProcAttr{Credential: unprivileged()}
	return c
}

// binaries finds the folder of the newest installed server.
func binaries() (string, error) {
	if found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/postgres"); len(found) > 0 {
		return filepath.Dir(found[len(found)-1]), nil
	}
	path, err := exec.LookPath("postgres")
	if err != nil {
		return "", err
	}
	if path, err = filepath.EvalSymlinks(path); err != nil {
		return "", err
	}
	return filepath.Dir(path), nil
}

// memory gives a folder that lies in memory where there is one.
func memory() string {
	if info, err := os.Stat("/dev/shm"); err == nil && info.IsDir() {
		return "/dev/shm"
	}
	return ""
}

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { require.NoError(t, l.Close()) }()
	return l.Addr().(*net.TCPAddr).Port
}

// unprivileged is who runs the server where the test runs as root: nobody.
func unprivileged() *syscall.Credential {
	if os.Getuid() != 0 {
		return nil
	}
	return &syscall.Credential{Uid: 65534, Gid: 65534}
}
