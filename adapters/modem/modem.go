// Package modem sends and receives texts over a GSM modem on a serial port, by AT
// commands in PDU mode (3GPP TS 27.005, 27.007 and 23.040). The texts go out from
// the SIM's own number, so the sender of a message is not looked at.
//
// # What became of a text
//
// A part of a text is handed over by the end mark (Ctrl-Z) that closes its PDU. What
// fails before that is Temporary: nothing went out. After it only the modem's
// result tells: +CMGS with a reference means that the network took the part;
// +CMS ERROR is sorted by a table, see ruling; no result, an unplugged modem or a
// cancelled context make the text Unknown. Nothing is sent twice in here. A later
// part of a long text that was certainly not handed over, or was refused for now,
// is tried a few more times, since half a text is no use; where it fails for good
// the text is Unknown, and Accepted names the parts that are out.
//
// # Receipts
//
// Status reports are asked for and joined by the reference that the modem gave
// (8 bits) and the number, see book. A part that is Unknown has an id too: a
// report that fits no other text of that number is taken for it.
//
// # What comes in
//
// Texts are left in the modem's or the SIM's store until the sink has stored
// them, and are deleted then; the parts of a long text until the whole is stored.
// So a crash loses nothing: what is in the store is read again, and has the same
// id, made of the sender, the network's time and the content. Parts that stay
// away for AssembleWithin show as a gap. A crash after a long text was stored and
// before its last part was deleted shows the rest as a text with a gap. Whatever
// texts the SIM already holds are taken in as well; texts that somebody wrote with
// it and kept there are left alone.
//
// # Pace
//
// SIM contracts and networks limit bursts, and some consumer contracts forbid
// business use altogether: read yours. Unless configured otherwise, one part goes
// every 6 seconds and no more than 25 parts in any 30 minutes (a caution; common
// practice, no source). A text that would have to wait for more than a minute is
// Throttled with the time to wait.
//
// # Settings
//
//	port = "/dev/serial/by-id/usb-modem-if00"
//	pin = "env:LARKFIELD_SIM_PIN"
//
// is all that most modems need. See Config. A wrong PIN is tried once and never
// again, since the third wrong try locks the SIM.
package modem

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"go.bug.st/serial"

	"passbell/adapters"
	"passbell/adapters/longtext"
)

// Notes keeps a few words across restarts. Get gives "" for a key that was never
// put.
type Notes interface {
	Get(ctx context.Context, key string) (string, error)
	Put(ctx context.Context, key, value string) error
}

// Deps is what an adapter is handed. Now, After and Rand must be there.
type Deps struct {
	Now   func() time.Time
	After func(time.Duration) <-chan time.Time
	// Rand spreads the tries to open the port.
	Rand *rand.Rand
	Log  *slog.Logger
	// Getenv and ReadFile find the PIN; those of the operating system where nil.
	Getenv   func(string) string
	ReadFile func(string) ([]byte, error)
	// Open opens the port; a real serial port (8N1) where nil. A Close must end a
	// Read that is under way.
	Open func(port string, baud int) (io.ReadWriteCloser, error)
	// Notes remembers that a PIN was tried, so that a program that is started
	// again and again does not lock the SIM. Where nil only the modem's own count
	// of tries, if it tells it, guards against that.
	Notes Notes
}

// Adapter is one modem. It is safe for concurrent use. Close it when done.
type Adapter struct {
	cfg   Config
	pin   string
	now   func() time.Time
	after func(time.Duration) <-chan time.Time
	log   *slog.Logger
	open  func(port string, baud int) (io.ReadWriteCloser, error)
	notes Notes

	splitter *longtext.Splitter
	pace     *pacer
	book     *book
	link     *link
	inlet    inlet
	pins     pinState

	receiving atomic.Bool
	life      context.Context // ends with Close
	stop      context.CancelFunc
	wg        sync.WaitGroup

	randMu sync.Mutex
	rand   *rand.Rand
}

var (
	_ adapters.Sender   = (*Adapter)(nil)
	_ adapters.Receiver = (*Adapter)(nil)
	_ adapters.Prober   = (*Adapter)(nil)
)

// New builds an adapter. It does not open the port: the first Send, Receive or
// Probe does. The error names every key that is wrong.
func New(cfg Config, deps Deps) (*Adapter, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	if deps.Now == nil || deps.After == nil || deps.Rand == nil {
		return nil, errors.New("modem: Now, After and Rand must be handed in")
	}
	cfg = cfg.withDefaults()
	if deps.Getenv == nil {
		deps.Getenv = os.Getenv
	}
	if deps.ReadFile == nil {
		deps.ReadFile = os.ReadFile
	}
	pin, err := find(cfg.PIN, deps.Getenv, deps.ReadFile)
	if err != nil {
		return nil, fmt.Errorf("%s: pin: %w", cfg.Name, err)
	}
	a := &Adapter{
		cfg: cfg, pin: pin, now: deps.Now, after: deps.After, log: deps.Log, open: deps.Open, notes: deps.Notes, rand: deps.Rand,
		// A phone may still hold parts of the last run under low numbers.
		splitter: longtext.NewSplitter(uint32(deps.Now().Unix())),
		pace:     newPacer(cfg.PartsPerMinute, cfg.Burst, time.Duration(cfg.BurstWindow)),
		book:     newBook(),
	}
	if a.log == nil {
		a.log = slog.New(slog.DiscardHandler)
	}
	a.log = a.log.With("adapter", cfg.Name)
	if a.open == nil {
		a.open = openSerial
	}
	a.life, a.stop = context.WithCancel(context.Background())
	a.link = &link{a: a}
	a.inlet.init(a)
	return a, nil
}

func openSerial(port string, baud int) (io.ReadWriteCloser, error) {
	return serial.Open(port, &serial.Mode{BaudRate: baud})
}

// Close closes the port and waits until everything has ended. A text whose result
// has not come by then is Unknown. Closing twice is safe.
func (a *Adapter) Close() error {
	a.stop()
	a.link.leave()
	a.wg.Wait()
	return nil
}

// chance is a random number in [0, 1).
func (a *Adapter) chance() float64 {
	a.randMu.Lock()
	defer a.randMu.Unlock()
	return a.rand.Float64()
}

// pause waits; false where ctx or the adapter ended before.
func (a *Adapter) pause(ctx context.Context, d time.Duration) bool {
	select {
	case <-a.after(d):
		return true
	case <-ctx.Done():
	case <-a.life.Done():
	}
	return false
}
