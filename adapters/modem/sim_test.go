//go:build linux

package modem

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/warthog618/sms/encoding/tpdu"
	"go.bug.st/serial"
	"golang.org/x/sys/unix"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
)

// sim is a modem with its SIM and a network behind it, on a pseudo-terminal. It
// does what TS 27.005 and 27.007 say, and whatever goes wrong on request.
type sim struct {
	t testing.TB

	mu          sync.Mutex
	out         sync.Mutex // one line at a time
	master      *os.File
	slave       *os.File
	unplugged   bool
	unreachable bool
	over        bool // the test is
	wg          sync.WaitGroup

	// What the modem is like.
	pin        string // what unlocks the SIM; "" for unlocked
	pinTries   int    // that are left
	pinGiven   []string
	noPINCount bool
	noSR       bool // it has no store for status reports
	noWrite    bool // AT+CMGW is refused
	noCNMI     bool
	capacity   int
	busy       int // so many SIM commands are answered with "SIM busy"
	noise      string
	chatty     bool // unsolicited lines between command and answer
	refuse     map[string]string

	// What it holds.
	echo     bool
	csms     bool
	cnmi     []string
	mem      string
	stores   map[string]map[int]simText
	mr       int
	starts   int
	commands []string

	// The network.
	script   []adapterstest.Behaviour
	parts    []simPart
	queue    []*simDelivery // not yet in the modem
	pending  *simDelivery   // waits for +CNMA
	offers   map[string][]*simDelivery
	onPart   func(n int) string // what to do at the n-th part: "", or a way to break
	onList   func(n int) bool   // whether to unplug in the middle of the n-th list
	onDelete func(n int) bool   // whether to unplug after the n-th deletion
	lists    int
	deletes  int
	book     func(id string) (string, int)
}

type simText struct {
	stat int
	pdu  string
	d    *simDelivery
}

// simPart is a part that the network took over.
type simPart struct {
	to   string
	mr   int
	t    *tpdu.TPDU
	when time.Time
}

// simDelivery is one PDU on its way to the modem.
type simDelivery struct {
	pdu    string
	report bool
	acked  bool
}

func newSim(t testing.TB) *sim {
	t.Helper()
	m := &sim{
		t: t, echo: true, capacity: 20, pinTries: 3, mem: "SM",
		stores: map[string]map[int]simText{"SM": {}, "ME": {}, "SR": {}},
		offers: map[string][]*simDelivery{}, cnmi: []string{"0", "0", "0", "0", "0"}, refuse: map[string]string{},
	}
	t.Cleanup(func() {
		m.look(func() { m.over = true })
		m.unplug()
		m.wg.Wait()
	})
	return m
}

// look reads or changes the modem while it runs.
func (m *sim) look(f func()) {
	m.mu.Lock()
	defer m.mu.Unlock()
	f()
}

// plug makes the modem appear as a new terminal.
func (m *sim) plug() {
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	require.NoError(m.t, err)
	raw, err := master.SyscallConn()
	require.NoError(m.t, err)
	n := 0
	require.NoError(m.t, raw.Control(func(fd uintptr) {
		if err = unix.IoctlSetPointerInt(int(fd), unix.TIOCSPTLCK, 0); err == nil {
			n, err = unix.IoctlGetInt(int(fd), unix.TIOCGPTN)
		}
	}))
	require.NoError(m.t, err)
	// Held open, so that the modem does not notice when the program closes it.
	slave, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	require.NoError(m.t, err)
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.over {
		_ = master.Close()
		_ = slave.Close()
		return
	}
	m.master, m.slave, m.unplugged = master, slave, false
	m.echo, m.csms, m.cnmi, m.starts = true, false, []string{"0", "0", "0", "0", "0"}, m.starts+1
	if m.pending != nil {
		m.queue = append([]*simDelivery{m.pending}, m.queue...)
		m.pending = nil
	}
	m.wg.Go(func() { m.serve(master) })
}

func (m *sim) unplug() {
	m.mu.Lock()
	defer m.mu.Unlock()
	if !m.unplugged && m.master != nil {
		m.unplugged = true
		_ = m.master.Close()
		_ = m.slave.Close()
	}
}

// replug loses everything but the SIM.
func (m *sim) replug() {
	m.mu.Lock()
	off := m.master == nil
	m.mu.Unlock()
	if off {
		return
	}
	m.unplug()
	m.plug()
}

// open is for Deps.Open. The first time switches the modem on, so that a test may
// make it what it likes before.
func (m *sim) open(_ string, baud int) (io.ReadWriteCloser, error) {
	m.mu.Lock()
	fresh := m.master == nil && !m.unreachable
	m.mu.Unlock()
	if fresh {
		m.plug()
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.unplugged || m.unreachable {
		return nil, errors.New("no such device")
	}
	return serial.Open(m.slave.Name(), &serial.Mode{BaudRate: baud})
}

func (m *sim) say(lines ...string) {
	m.out.Lock()
	defer m.out.Unlock()
	m.mu.Lock()
	master := m.master
	m.mu.Unlock()
	for _, l := range lines {
		_, _ = io.WriteString(master, "\r\n"+l+"\r\n") // it may be unplugged
	}
}

// serve reads commands as a modem does: up to <CR>, an echo on the way.
func (m *sim) serve(master *os.File) {
	var (
		line []byte
		buf  [256]byte
		text func(string) // takes what is typed at a prompt
	)
	for {
		n, err := master.Read(buf[:])
		if err != nil {
			return
		}
		for _, c := range buf[:n] {
			m.mu.Lock()
			echo := m.echo
			m.mu.Unlock()
			if echo {
				_, _ = master.Write([]byte{c})
			}
			switch {
			case c == 0x1B:
				if text != nil {
					text = nil
					m.say("OK")
				}
				line = line[:0]
			case text != nil && c == 0x1A:
				f := text
				text = nil
				f(string(line))
				line = line[:0]
			case c == '\r' && text == nil:
				l := strings.TrimSpace(string(line))
				line = line[:0]
				if l != "" {
					text = m.command(l)
				}
			case c >= ' ':
				line = append(line, c)
			}
		}
	}
}

// command does one command. Where it prompts, it returns what takes the text.
func (m *sim) command(l string) func(string) {
	m.mu.Lock()
	m.commands = append(m.commands, l)
	noise, chatty, refused := m.noise, m.chatty, m.refuse[l]
	locked := m.pin != ""
	m.mu.Unlock()
	if noise != "" {
		m.say(noise)
	}
	if chatty {
		m.say("+CREG: 1", "RING", `+CIEV: "signal",3`, `^BOOT: 1,2`)
	}
	if refused != "" {
		if refused != "silence" {
			m.say(refused)
		}
		return nil
	}
	name, arg, _ := strings.Cut(strings.TrimPrefix(l, "AT"), "=")
	if locked && strings.HasPrefix(name, "+C") && !slices.Contains([]string{"+CPIN", "+CPIN?", "+CPINR", "+CMEE", "+CSQ", "+CGMI", "+CGMM"}, name) {
		m.say("+CMS ERROR: 311")
		return nil
	}
	if f := m.shortMessage(name, arg); f != nil {
		return f(l)
	}
	answer := map[string]string{
		"+CSQ": "+CSQ: 17,99", "+CREG?": "+CREG: 0,1", "+COPS?": `+COPS: 0,0,"LARKFIELD, MOBILE",7`,
		"+CSCA?": `+CSCA: "+447700900999",145`, "+CGMI": "Larkfield", "+CGMM": "Bell 4",
	}
	switch {
	case name == "" || strings.HasPrefix(name, "E") || strings.HasPrefix(name, "V") || name == "+CMEE" || name == "+CMGF":
		m.mu.Lock()
		if name == "E0" {
			m.echo = false
		}
		m.mu.Unlock()
		m.say("OK")
	case answer[name] != "":
		m.say(answer[name], "OK")
	case strings.HasPrefix(name, "+CPIN"):
		m.simPIN(name, strings.Trim(arg, `"`))
	default:
		m.say("ERROR")
	}
	return nil
}

func (m *sim) simPIN(name, arg string) {
	m.mu.Lock()
	busy := m.busy > 0
	if busy {
		m.busy--
	}
	reply := []string{"OK"}
	switch {
	case busy:
		reply = []string{"+CME ERROR: 14"}
	case name == "+CPIN?" && m.pinTries == 0:
		reply = []string{"+CPIN: SIM PUK", "OK"}
	case name == "+CPIN?" && m.pin != "":
		reply = []string{"+CPIN: SIM PIN", "OK"}
	case name == "+CPIN?":
		reply = []string{"+CPIN: READY", "OK"}
	case name == "+CPINR" && m.noPINCount:
		reply = []string{"ERROR"}
	case name == "+CPINR":
		reply = []string{fmt.Sprintf("+CPINR: SIM PIN,%d,3", m.pinTries), "OK"}
	default:
		m.pinGiven = append(m.pinGiven, arg)
		if arg != m.pin {
			m.pinTries--
			reply = []string{"+CME ERROR: 16"}
		} else {
			m.pin = ""
		}
	}
	m.mu.Unlock()
	m.say(reply...)
}

// shortMessage finds who does a command of TS 27.005; nil for others.
func (m *sim) shortMessage(name, arg string) func(string) func(string) {
	plain := func(f func()) func(string) func(string) {
		return func(string) func(string) { f(); return nil }
	}
	switch name {
	case "+CSMS":
		return plain(func() {
			m.mu.Lock()
			m.csms = arg == "1"
			m.mu.Unlock()
			m.say("+CSMS: 1,1,1", "OK")
		})
	case "+CPMS?", "+CPMS":
		return plain(func() { m.cpms(name, arg) })
	case "+CNMI?", "+CNMI":
		return plain(func() { m.cnmiDo(name, arg) })
	case "+CMGL":
		return plain(m.list)
	case "+CMGD":
		return plain(func() { m.remove(arg) })
	case "+CNMA":
		return plain(m.acknowledge)
	case "+CMGS":
		return func(string) func(string) {
			m.ask()
			return func(pdu string) { m.submit(pdu, arg) }
		}
	case "+CMGW":
		return func(string) func(string) {
			if m.noWrite {
				m.say("+CMS ERROR: 303")
				return nil
			}
			m.ask()
			return func(pdu string) {
				m.mu.Lock()
				i := m.place("ME", simText{pdu: pdu, d: m.pending})
				m.mu.Unlock()
				m.say(fmt.Sprintf("+CMGW: %d", i), "OK")
			}
		}
	}
	return nil
}

func (m *sim) ask() {
	m.out.Lock()
	defer m.out.Unlock()
	m.mu.Lock()
	master := m.master
	m.mu.Unlock()
	_, _ = io.WriteString(master, "\r\n> ")
}

func (m *sim) cpms(name, arg string) {
	m.mu.Lock()
	state := func(mem string) string { return fmt.Sprintf(`"%s",%d,%d`, mem, len(m.stores[mem]), m.capacity) }
	reply := []string{"+CPMS: " + strings.Join([]string{state(m.mem), state("ME"), state("SM")}, ","), "OK"}
	switch {
	case name == "+CPMS" && arg == "?":
		list := `("SM","ME","SR")`
		if m.noSR {
			list = `("SM","ME")`
		}
		reply = []string{"+CPMS: " + list + `,("SM","ME"),("SM","ME")`, "OK"}
	case name == "+CPMS":
		mem := strings.Trim(strings.Split(arg, ",")[0], `"`)
		if m.stores[mem] == nil || mem == "SR" && m.noSR {
			reply = []string{"+CMS ERROR: 302"}
			break
		}
		m.mem = mem
		reply = []string{fmt.Sprintf("+CPMS: %d,%d", len(m.stores[mem]), m.capacity), "OK"}
	}
	m.mu.Unlock()
	m.say(reply...)
}

func (m *sim) cnmiDo(name, arg string) {
	m.mu.Lock()
	reply := []string{"OK"}
	if name == "+CNMI?" {
		reply = []string{"+CNMI: " + strings.Join(m.cnmi, ","), "OK"}
	} else {
		v := strings.Split(arg, ",")
		if m.noCNMI || len(v) > 3 && v[3] == "2" && m.noSR {
			reply = []string{"+CMS ERROR: 303"}
		} else {
			m.cnmi = append(v, []string{"0", "0", "0", "0", "0"}[len(v):]...)
		}
	}
	m.mu.Unlock()
	m.say(reply...)
	m.pump()
}

// place puts a text in the first free place of a store. m.mu is held.
func (m *sim) place(mem string, t simText) int {
	for i := 1; ; i++ {
		if _, taken := m.stores[mem][i]; !taken {
			m.stores[mem][i] = t
			return i
		}
	}
}

func (m *sim) list() {
	m.mu.Lock()
	m.lists++
	unplug := m.onList != nil && m.onList(m.lists)
	store := m.stores[m.mem]
	var index []int
	for i := range store {
		index = append(index, i)
	}
	slices.Sort(index)
	var lines []string
	for n, i := range index {
		t := store[i]
		lines = append(lines, fmt.Sprintf("+CMGL: %d,%d,,%d\r\n%s", i, t.stat, simLength(t.pdu), t.pdu))
		if t.stat == 0 {
			t.stat = 1
			store[i] = t
		}
		if unplug && n >= len(index)/2 {
			break
		}
	}
	m.mu.Unlock()
	m.say(lines...)
	if unplug {
		m.replug()
		return
	}
	m.say("OK")
}

// simLength is <length>: the octets without the message centre's address.
func simLength(pdu string) int {
	smsc, err := strconv.ParseInt(pdu[:2], 16, 32)
	if err != nil {
		return -1
	}
	return len(pdu)/2 - 1 - int(smsc)
}

func (m *sim) remove(arg string) {
	i, err := strconv.Atoi(arg)
	m.mu.Lock()
	t, ok := m.stores[m.mem][i]
	delete(m.stores[m.mem], i)
	m.deletes++
	unplug := m.onDelete != nil && m.onDelete(m.deletes)
	if ok && t.d != nil {
		t.d.acked = true
	}
	m.mu.Unlock()
	switch {
	case unplug:
		m.replug()
	case !ok || err != nil:
		m.say("+CMS ERROR: 321")
	default:
		m.say("OK")
	}
	m.pump()
}

func (m *sim) acknowledge() {
	m.mu.Lock()
	d := m.pending
	m.pending = nil
	if d != nil {
		d.acked = true
	}
	m.mu.Unlock()
	if d == nil {
		m.say("+CMS ERROR: 340")
		return
	}
	m.say("OK")
	m.pump()
}

// find is how a test learns what reference an id stands for.
func (a *Adapter) find(id string) (string, int) {
	a.book.mu.Lock()
	defer a.book.mu.Unlock()
	for _, e := range a.book.parts {
		if e.id == id {
			return e.number, e.mr
		}
	}
	return "", -1
}

func simConfig() Config {
	ms := func(n int) adapters.Duration { return adapters.Duration(time.Duration(n) * time.Millisecond) }
	return Config{
		Port: "/dev/larkfield", PartsPerMinute: 1e6, Burst: 1e6, Command: ms(6000), SendTime: ms(1500), Poll: ms(200),
		StoreRetry: ms(10), ThrottlePause: ms(5), ReconnectMin: ms(5), ReconnectMax: ms(20), Storage: "SM",
	}
}

func simDeps(m *sim) Deps {
	return Deps{Now: time.Now, After: time.After, Rand: rand.New(rand.NewPCG(1, 2)), Open: m.open}
}

// newAdapter makes an adapter that is closed at the end of the test.
func newAdapter(t testing.TB, m *sim, cfg Config, d Deps) *Adapter {
	t.Helper()
	a, err := New(cfg, d)
	require.NoError(t, err)
	m.book = a.find
	t.Cleanup(func() { require.NoError(t, a.Close()) })
	return a
}
