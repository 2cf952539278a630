package modem

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"
)

// syncTries is how often a silent modem is called; the first call may find it
// asleep or in the middle of something.
const syncTries = 3

// simTries is how often a SIM that is still starting is asked.
const simTries = 20

// start opens the port and makes the modem ready. The error is a *downError.
func (a *Adapter) start(ctx context.Context) (*session, error) {
	port, err := a.open(a.cfg.Port, a.cfg.Baud)
	if err != nil {
		return nil, &downError{"the modem's port cannot be opened: is it plugged in, and may this program use it?", err}
	}
	s := newSession(a, port)
	if err := s.prepare(ctx); err != nil {
		s.fail(err)
		var down *downError
		if errors.As(err, &down) {
			return nil, down
		}
		return nil, &downError{"the modem does not answer as it should: unplug it and plug it in again", err}
	}
	return s, nil
}

// prepare gives the commands that every use needs.
func (s *session) prepare(ctx context.Context) error {
	if err := s.sync(ctx); err != nil {
		return err
	}
	// A modem without one of these can do without: CMEE makes codes of errors, E0
	// and V1 are what we are ready for anyway.
	for _, line := range []string{"ATE0", "ATV1", "AT+CMEE=1"} {
		if err := s.optional(ctx, line); err != nil {
			return err
		}
	}
	if err := s.unlock(ctx); err != nil {
		return err
	}
	if _, err := s.patient(ctx, "AT+CMGF=0"); err != nil {
		return fmt.Errorf("PDU mode: %w", err)
	}
	_, err := s.ask(ctx, "AT+CSMS=1", "+CSMS:")
	s.acked = err == nil
	if err != nil && !isFault(err) {
		return err
	}
	if err := s.stores(ctx); err != nil {
		return err
	}
	return s.indications(ctx)
}

// sync leaves a prompt that another program may have left open, and waits until
// the modem answers.
func (s *session) sync(ctx context.Context) error {
	if _, err := s.write("\x1B\r"); err != nil {
		return err
	}
	for try := 1; ; try++ {
		if err := s.take(ctx); err != nil {
			return err
		}
		r := &running{command: command{line: "AT"}, asked: make(chan struct{}), done: make(chan *fault, 1)}
		s.mu.Lock()
		s.cur = r
		s.mu.Unlock()
		_, err := s.write("AT\r")
		if err == nil {
			select {
			case f := <-r.done:
				s.give()
				if f == nil {
					return nil
				}
				if try >= 2*syncTries {
					return f
				}
				continue
			case <-s.dead:
				err = s.gone()
			case <-s.a.after(time.Duration(s.a.cfg.Command) / syncTries):
				err = errNoAnswer
			}
		}
		s.give()
		if s.gone() != nil || try >= syncTries {
			return err
		}
	}
}

// optional gives a command that a modem may refuse.
func (s *session) optional(ctx context.Context, line string) error {
	if _, err := s.ask(ctx, line, ""); err != nil && !isFault(err) {
		return err
	}
	return nil
}

// patient gives a command again while the SIM is busy.
func (s *session) patient(ctx context.Context, line string) (answer, error) {
	prefix := ""
	if strings.HasSuffix(line, "?") {
		prefix = strings.TrimSuffix(strings.TrimPrefix(line, "AT"), "?") + ":"
	}
	for try := 1; ; try++ {
		got, err := s.ask(ctx, line, prefix)
		var f *fault
		busy := errors.As(err, &f) && (f.kind == faultCME && f.code == 14 || f.kind == faultCMS && f.code == 314)
		if !busy || try == simTries || !s.a.pause(ctx, time.Second) {
			return got, err
		}
	}
}

func isFault(err error) bool {
	var f *fault
	return errors.As(err, &f)
}

// pinState is what became of the PIN, so that a wrong one is tried once.
type pinState struct {
	mu      sync.Mutex
	refused bool
}

const pinNote = "pin"

// Whatever is wrong with the SIM, worded for a cook.
var (
	errNoSIM      = &downError{"the modem finds no SIM: is it in, and the right way round?", nil}
	errPUK        = &downError{"the SIM is locked and asks for its PUK: put it in a phone and unlock it there", nil}
	errPINMissing = &downError{"the SIM asks for a PIN: write pin, or switch the PIN off with a phone", nil}
	errPINRefused = &downError{"the SIM refused the PIN; it is not tried again, since a third wrong try locks the SIM: correct pin and start again", nil}
	errPINTries   = &downError{"a wrong PIN was tried on this SIM before, so ours is not tried: unlock the SIM in a phone, or switch its PIN off", nil}
)

// unlock gives the SIM its PIN where it asks for one (TS 27.007 §8.3).
func (s *session) unlock(ctx context.Context) error {
	state, err := s.simState(ctx)
	switch {
	case err != nil:
		return err
	case state == "READY":
		return s.a.pinWorks(ctx, false)
	case state == "SIM PUK" || state == "SIM PUK2":
		return errPUK
	case state != "SIM PIN":
		return &downError{"the SIM is locked to something else (" + printable(state) + "): put it in a phone and look there", nil}
	case s.a.pin == "":
		return errPINMissing
	}
	if err := s.mayTry(ctx); err != nil {
		return err
	}
	_, err = s.ask(ctx, `AT+CPIN="`+s.a.pin+`"`, "")
	if err != nil && !isFault(err) {
		return err // whether it was wrong shows when the SIM is asked again
	}
	if err != nil {
		s.a.log.Error("the SIM refused the PIN; it is not tried again", "error", err)
		return errPINRefused
	}
	for try := 1; try <= simTries; try++ {
		state, err := s.simState(ctx)
		if err != nil {
			return err
		}
		if state == "READY" {
			return s.a.pinWorks(ctx, true)
		}
		if !s.a.pause(ctx, time.Second) {
			break
		}
	}
	return errPINRefused
}

// simState is "READY" or what the SIM wants.
func (s *session) simState(ctx context.Context) (string, error) {
	got, err := s.patient(ctx, "AT+CPIN?")
	var f *fault
	if errors.As(err, &f) {
		if f.kind == faultCME && (f.code == 12 || f.code == 18) || f.kind == faultCMS && f.code == 316 {
			return "", errPUK
		}
		return "", &downError{errNoSIM.reason, err}
	}
	if err != nil {
		return "", err
	}
	if len(got.lines) == 0 {
		return "", errOutOfStep
	}
	v := values(got.lines[0])
	return v[0], nil
}

// mayTry says whether the PIN may be tried, and notes that it is.
func (s *session) mayTry(ctx context.Context) error {
	a := s.a
	a.pins.mu.Lock()
	defer a.pins.mu.Unlock()
	if a.pins.refused {
		return errPINRefused
	}
	// Where the modem counts the tries that are left (AT+CPINR, TS 27.007 §8.65),
	// a count below three means that somebody has been wrong already.
	if got, err := s.ask(ctx, `AT+CPINR="SIM PIN"`, "+CPINR:"); err == nil && len(got.lines) > 0 {
		if left := number(values(got.lines[0]), 1); left >= 0 && left < 3 {
			return errPINTries
		}
	} else if err != nil && !isFault(err) {
		return err
	}
	if a.notes != nil {
		before, err := a.notes.Get(ctx, pinNote)
		if err != nil {
			return &downError{"it cannot be read whether this PIN was tried before, so it is not tried", err}
		}
		if before == a.pinTrace() {
			return errPINRefused
		}
		if err := a.notes.Put(ctx, pinNote, a.pinTrace()); err != nil {
			return &downError{"it cannot be noted that the PIN was tried, so it is not tried", err}
		}
	}
	a.pins.refused = true // until it works
	return nil
}

// pinWorks takes the note of the try back.
func (a *Adapter) pinWorks(ctx context.Context, tried bool) error {
	if !tried {
		return nil
	}
	a.pins.mu.Lock()
	a.pins.refused = false
	a.pins.mu.Unlock()
	if a.notes != nil {
		if err := a.notes.Put(ctx, pinNote, ""); err != nil {
			a.log.Warn("the note that the PIN was tried could not be taken back", "error", err)
		}
	}
	return nil
}

// pinTrace tells one PIN from another without giving it away: 8 bits, which a
// few dozen PINs have in common.
func (a *Adapter) pinTrace() string {
	sum := sha256.Sum256([]byte(a.pin))
	return fmt.Sprintf("tried %02x", sum[0])
}

// stores chooses the store for incoming texts and learns which to look at
// (TS 27.005 §3.2.2).
func (s *session) stores(ctx context.Context) error {
	if m := s.a.cfg.Storage; m != "" {
		_, err := s.ask(ctx, fmt.Sprintf(`AT+CPMS="%s","%s","%s"`, m, m, m), "+CPMS:")
		if isFault(err) {
			return &downError{"the modem has no store " + m + ": leave storage out", err}
		}
		if err != nil {
			return err
		}
	}
	got, err := s.patient(ctx, "AT+CPMS?")
	if err != nil {
		return fmt.Errorf("message store: %w", err)
	}
	if len(got.lines) == 0 {
		return errOutOfStep
	}
	v := values(got.lines[0]) // name, used, total of each of three stores
	s.mem = v[0]
	for _, i := range []int{0, 3, 6} {
		if i < len(v) {
			s.addStore(v[i])
		}
	}
	return nil
}

// addStore notes a store to look at.
func (s *session) addStore(name string) {
	if len(name) != 2 || slices.Contains(s.mems, name) {
		return
	}
	s.mems = append(s.mems, name)
}

// dropStore forgets a store that cannot be looked at.
func (s *session) dropStore(name string) {
	s.mems = slices.DeleteFunc(s.mems, func(m string) bool { return m == name })
}

// indications asks to be told of what comes in (TS 27.005 §3.4.1): texts are
// stored first and told then; status reports are stored where the modem can, else
// they come directly.
func (s *session) indications(ctx context.Context) error {
	choices := []string{"2,1,0,1,0", "1,1,0,1,0", "2,1,0,1", "2,1,0,0,0", "1,1,0,0,0", "2,1", "1,1"}
	if s.a.cfg.Receipts == receiptsNone {
		choices = choices[3:]
	} else if s.storesReports(ctx) {
		choices = append([]string{"2,1,0,2,0", "1,1,0,2,0"}, choices...)
	}
	if s.a.cfg.Indications != "" {
		choices = []string{s.a.cfg.Indications}
	}
	var err error
	for _, c := range choices {
		if _, err = s.ask(ctx, "AT+CNMI="+c, ""); err == nil {
			s.cnmi = c
			if len(c) > 6 && c[6] == '2' {
				s.addStore("SR")
			}
			// What it says now counts as set: some modems make a number of ours
			// another one.
			got, err := s.ask(ctx, "AT+CNMI?", "+CNMI:")
			if err == nil && len(got.lines) > 0 {
				s.settled = got.lines[0]
			}
			if isFault(err) {
				return nil
			}
			return err
		}
		if !isFault(err) {
			return err
		}
	}
	if s.a.cfg.Indications != "" {
		return &downError{"the modem refuses the indications: leave them out, or see its manual", err}
	}
	s.a.log.Warn("the modem does not tell of incoming texts; its store is looked at from time to time", "error", err)
	return nil
}

// selectStore makes a store the one that is listed and deleted from.
func (s *session) selectStore(ctx context.Context, name string) error {
	if s.mem == name {
		return nil
	}
	_, err := s.ask(ctx, fmt.Sprintf(`AT+CPMS="%s"`, name), "+CPMS:")
	if err == nil {
		s.mem = name
	}
	return err
}

// storesReports says whether there is a store for status reports that can be
// looked at.
func (s *session) storesReports(ctx context.Context) bool {
	got, err := s.ask(ctx, "AT+CPMS=?", "+CPMS:")
	return err == nil && len(got.lines) > 0 && strings.Contains(got.lines[0], `"SR"`) && s.selectStore(ctx, "SR") == nil
}

// well checks that the modem still has its settings: one that started anew by
// itself has lost them, and one whose reports were not acknowledged in time
// switches its indications off.
func (s *session) well(ctx context.Context) error {
	if s.settled == "" {
		_, err := s.ask(ctx, "AT", "")
		return err
	}
	got, err := s.ask(ctx, "AT+CNMI?", "+CNMI:")
	if err != nil {
		return err
	}
	if len(got.lines) == 0 || got.lines[0] != s.settled {
		return errOutOfStep
	}
	return nil
}

// printable makes a word of the modem fit for a person.
func printable(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7F {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, ""))
	return s[:min(len(s), 40)]
}
