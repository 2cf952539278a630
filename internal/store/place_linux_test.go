package store

import (
	"context"
	"database/sql"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store/pgtest"
)

// Numbers from statfs(2), and for SMB2 and 9P from linux/magic.h.
func TestShareNames(t *testing.T) {
	t.Parallel()
	for kind, want := range map[uint32]string{
		0x6969: "NFS", 0x517B: "SMB", 0xFF534D42: "SMB", 0xFE534D42: "SMB",
		0xEF53: "", 0x9123683E: "", 0x58465342: "", 0x01021994: "", 0x794C7630: "", // ext4, btrfs, XFS, tmpfs, overlayfs
	} {
		assert.Equal(t, want, shareName(kind), "%#x", kind)
	}
	assert.Contains(t, shareName(0x01021997), "9P")
}

// disk is a small disk of its own.
func disk(t *testing.T, size string) string {
	t.Helper()
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size="+size); err != nil {
		t.Skipf("no disk can be mounted here: %v", err)
	}
	t.Cleanup(func() { assert.NoError(t, syscall.Unmount(folder, syscall.MNT_DETACH)) })
	return folder
}

func TestAReadOnlyDiskIsRefused(t *testing.T) {
	t.Parallel()
	folder := disk(t, "1m")
	require.NoError(t, syscall.Mount("", folder, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""))
	_, err := Open(t.Context(), filepath.Join(folder, "p.db"))
	require.ErrorContains(t, err, "may not write")
}

// A disk that runs full in the middle of a night: what can't be kept is refused
// whole and in words, nothing that was kept is lost, and with room again it goes
// on without a restart.
func TestADiskThatRunsFull(t *testing.T) {
	t.Parallel()
	folder := disk(t, "4m")
	path := filepath.Join(folder, "p.db")
	s, err := Open(t.Context(), path)
	require.NoError(t, err)
	id, err := s.PutKitchen(t.Context(), night.Kitchen{Name: "Larkfield Dumpling Kitchen"})
	require.NoError(t, err)
	k := s.Kitchen(id)
	var kept []int64
	two := func(note string) error { // two orders, or none
		var ids []int64
		err := k.Write(t.Context(), func(tx *Tx) error {
			n, err := tx.AddNight(t.Context(), night.Night{Date: night.Date{Year: 2026, Month: 12, Day: 1 + len(kept)/2}, First: 960, Last: 1140, Every: 10})
			for _, ref := range []string{"K401", "K402"} {
				if err != nil {
					return err
				}
				var id int64
				id, err = tx.AddOrder(t.Context(), night.Order{NightID: n, Ref: ref, Slot: 960, State: night.Booked, Note: note})
				ids = append(ids, id)
			}
			return err
		})
		if err == nil {
			kept = append(kept, ids...)
		}
		return err
	}
	require.NoError(t, two("before"))
	ballast := filepath.Join(folder, "ballast")
	require.Error(t, os.WriteFile(ballast, make([]byte, 8<<20), 0o600), "the disk is smaller")

	for range 3 {
		err = two(strings.Repeat("a long note ", 20000))
		require.ErrorIs(t, err, night.ErrNoRoom)
		require.ErrorContains(t, err, "make room, and it goes on by itself")
		var broken *night.StoreError
		require.ErrorAs(t, err, &broken)
	}
	there := func(s *Store) {
		require.NoError(t, s.Kitchen(id).Read(t.Context(), func(tx *Tx) error {
			for _, id := range kept {
				if _, err := tx.Order(context.WithoutCancel(t.Context()), id); err != nil {
					return fmt.Errorf("order %d: %w", id, err)
				}
			}
			return nil
		}))
		var orders int
		require.NoError(t, s.reader.Get(&orders, `SELECT count(*) FROM orders`))
		assert.Len(t, kept, orders, "nothing is half written")
		var sound string
		require.NoError(t, s.reader.Get(&sound, `PRAGMA integrity_check`))
		assert.Equal(t, "ok", sound)
	}
	there(s)

	require.NoError(t, os.Remove(ballast))
	require.NoError(t, two(strings.Repeat("a long note ", 20000)), "without a restart")
	require.NoError(t, two("after"))
	there(s)
	require.NoError(t, s.Close())
	s, err = Open(t.Context(), path)
	require.NoError(t, err)
	there(s)
	require.NoError(t, s.Close())
}

// The same on a server whose disk runs full, its log on another one: what can't
// be kept is refused in the same words, and with room again it goes on.
func TestAServersDiskThatRunsFull(t *testing.T) {
	t.Parallel()
	folder := disk(t, "32m")
	server := pgtest.Start(t)
	boss, err := sql.Open("postgres", server.Superuser())
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, boss.Close()) })
	var data string
	require.NoError(t, boss.QueryRow(`SHOW data_directory`).Scan(&data))
	owner, err := os.Stat(data)
	require.NoError(t, err)
	uid := int(owner.Sys().(*syscall.Stat_t).Uid)
	require.NoError(t, os.Chown(folder, uid, -1))
	require.NoError(t, os.Chmod(filepath.Dir(folder), 0o755)) // the server is another user
	place := server.Database(t)
	for _, q := range []string{`CREATE TABLESPACE small LOCATION '` + folder + `'`, `ALTER DATABASE kitchen1 SET TABLESPACE small`} {
		_, err := boss.Exec(q)
		require.NoError(t, err)
	}
	s, err := Open(t.Context(), place)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	id, err := s.PutKitchen(t.Context(), night.Kitchen{Name: "Larkfield Dumpling Kitchen", Zone: time.UTC})
	require.NoError(t, err)
	ballast := filepath.Join(folder, "ballast")
	require.Error(t, os.WriteFile(ballast, make([]byte, 64<<20), 0o600), "the disk is smaller")

	kept := 0
	write := func() error { // what does not compress
		return s.Kitchen(id).Write(t.Context(), func(tx *Tx) error {
			note := make([]byte, 64<<10)
			_, _ = rand.NewChaCha8([32]byte{byte(kept)}).Read(note)
			_, _, err := tx.AddInbound(t.Context(), night.Inbound{Adapter: "texts", ProviderID: fmt.Sprint(kept), Text: hex.EncodeToString(note)})
			return err
		})
	}
	for err = nil; err == nil && kept < 1000; kept++ {
		err = write()
	}
	require.ErrorIs(t, err, night.ErrNoRoom)
	var broken *night.StoreError
	require.ErrorAs(t, err, &broken)
	require.ErrorIs(t, write(), night.ErrNoRoom, "as long as it is full")
	require.NoError(t, os.Remove(ballast))
	require.NoError(t, write(), "without a restart")
	require.NoError(t, s.Kitchen(id).Read(t.Context(), func(tx *Tx) error {
		texts, err := tx.InboundsIn(t.Context(), night.Fresh)
		assert.Len(t, texts, kept, "all that was kept, and nothing by half")
		return err
	}))
}

func TestAFullDiskAtTheStart(t *testing.T) {
	t.Parallel()
	folder := disk(t, "256k")
	require.Error(t, os.WriteFile(filepath.Join(folder, "ballast"), make([]byte, 1<<20), 0o600))
	_, err := Open(t.Context(), filepath.Join(folder, "p.db"))
	require.ErrorIs(t, err, night.ErrNoRoom)
}
