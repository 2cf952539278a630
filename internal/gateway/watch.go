package gateway

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"passbell/internal/book"
)

// settleTime is how long a file must have been left alone before it is read:
// whoever writes it may not be done.
const settleTime = 2 * time.Second

// Watch loads the order books that were put into the configured folder into the
// current night. A book that was loaded goes to the folder "loaded" within it; one
// that can't be loaded goes to "refused", with the reasons beside it. It does
// nothing where no folder is configured.
func (h *House) Watch(ctx context.Context) error {
	if h.Config.Watch == "" {
		return nil
	}
	files, err := os.ReadDir(h.Config.Watch)
	if err != nil {
		return fmt.Errorf("look for order books: %w", err)
	}
	for _, f := range files {
		info, err := f.Info()
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return fmt.Errorf("look for order books: %w", err)
		}
		if !info.Mode().IsRegular() || strings.HasPrefix(f.Name(), ".") || h.Clock.Now().Sub(info.ModTime()) < settleTime {
			continue
		}
		if err := h.take(ctx, f.Name()); err != nil {
			return fmt.Errorf("order book %s: %w", f.Name(), err)
		}
	}
	return nil
}

// take loads one file, all or nothing.
func (h *House) take(ctx context.Context, name string) error {
	data, err := os.ReadFile(filepath.Join(h.Config.Watch, name))
	if err != nil {
		return err
	}
	n, err := h.Desk.Current(ctx)
	if err != nil {
		return err
	}
	b, err := h.Desk.ReadBook(ctx, bytes.NewReader(data), name, h.BookOptions(n))
	var unreadable *book.FileError
	switch {
	case errors.As(err, &unreadable):
		return h.refuse(name, err.Error())
	case err != nil:
		return err
	case len(b.Unplaced) > 0:
		var why strings.Builder
		why.WriteString("nothing was loaded: some orders have no slot\n\n")
		if err := b.WriteText(&why); err != nil {
			return err
		}
		return h.refuse(name, why.String())
	}
	if _, err := h.Desk.Load(ctx, n.ID, b.Orders, "the folder"); err != nil {
		return err
	}
	return h.move(name, "loaded")
}

func (h *House) refuse(name, why string) error {
	if err := h.move(name, "refused"); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(h.Config.Watch, "refused", name+".why.txt"), []byte(why+"\n"), 0o600)
}

func (h *House) move(name, folder string) error {
	to := filepath.Join(h.Config.Watch, folder)
	if err := os.MkdirAll(to, 0o700); err != nil {
		return err
	}
	return os.Rename(filepath.Join(h.Config.Watch, name), filepath.Join(to, name))
}
