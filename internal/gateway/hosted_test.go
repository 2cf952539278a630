package gateway

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jonboulle/clockwork"
	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/bcrypt"

	"passbell/adapters/practice"
	"passbell/internal/config"
	"passbell/internal/night"
)

// hosted is a host of several kitchens that runs.
type hosted struct {
	*Gateway
	t     *testing.T
	log   *logged
	night map[string]night.Night
	calls int
}

// logged keeps what was logged.
type logged struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logged) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(b)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// aKitchen gives the file of a kitchen whose passphrase and token are its name.
func aKitchen(t *testing.T, name, number, more string) string {
	t.Helper()
	hash, err := bcrypt.GenerateFromPassword([]byte(name), bcrypt.MinCost)
	require.NoError(t, err)
	sum := sha256.Sum256([]byte(name))
	return fmt.Sprintf(`host = "%[1]s.example"
passphrase = '%[2]s'
token = "%[3]s"
[kitchen]
name = "%[1]s kitchen"
region = "GB"
zone = "%[6]s"
number = "%[4]s"
quiet_from = "00:00"
quiet_to = "00:00"
[night]
place = "5 Mill Lane"
%[5]s`, name, hash, hex.EncodeToString(sum[:]), number, more, collecting())
}

// collecting gives a time zone in which it is between five and six in the
// evening, whenever the test runs.
func collecting() string {
	east := 17 - time.Now().UTC().Hour()
	if east > 14 {
		east -= 24
	}
	return fmt.Sprintf("Etc/GMT%+d", -east) // POSIX counts them the other way
}

// soon is a slot in half an hour.
func soon(zone *time.Location) night.Clock {
	return (night.ClockOf(time.Now().In(zone)) + 35) / 10 * 10
}

// hostFiles writes a configuration of several kitchens and loads it.
func hostFiles(t *testing.T, place string, kitchens map[string]string) config.Host {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.Mkdir(filepath.Join(dir, "kitchens"), 0o700))
	host := fmt.Sprintf("database = %q\nlisten = \"127.0.0.1:0\"\nkitchens = \"kitchens\"\n", place) +
		"[[adapter]]\nname = \"texts\"\nkind = \"practice\"\nwindow = 8\nper_second = 1000.0\nfrom = \"{number}\"\n"
	require.NoError(t, os.WriteFile(filepath.Join(dir, "passbell.toml"), []byte(host), 0o600))
	for name, text := range kitchens {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "kitchens", name+".toml"), []byte(text), 0o600))
	}
	c, err := config.Load(filepath.Join(dir, "passbell.toml"))
	require.NoError(t, err)
	return c
}

// runHost starts a host until the test ends.
func runHost(t *testing.T, c config.Host) *hosted {
	t.Helper()
	r := openHost(t, c)
	require.NoError(t, r.Start(t.Context()))
	return r
}

// openHost opens a host that does nothing yet.
func openHost(t *testing.T, c config.Host) *hosted {
	t.Helper()
	r := &hosted{t: t, log: new(logged), night: map[string]night.Night{}}
	h, err := Open(t.Context(), c, Deps{Clock: clockwork.NewRealClock(), Log: slog.New(slog.NewTextHandler(r.log, nil))})
	require.NoError(t, err)
	r.Gateway, err = New(h, nil)
	require.NoError(t, err)
	t.Cleanup(func() {
		bounded, cancel := context.WithTimeout(context.WithoutCancel(t.Context()), 30*time.Second)
		defer cancel()
		require.NoError(t, r.Stop(bounded))
		require.NoError(t, h.Close())
	})
	return r
}

// threeKitchens runs larkfield with a number of its own, and millbank and brook
// with one number.
func threeKitchens(t *testing.T, place string) *hosted {
	t.Helper()
	r := runHost(t, hostFiles(t, place, map[string]string{
		"larkfield": aKitchen(t, "larkfield", "07700 900100", ""),
		"millbank":  aKitchen(t, "millbank", "07700 900200", ""),
		"brook":     aKitchen(t, "brook", "+447700900200", ""),
	}))
	for name, customers := range map[string][]string{
		"larkfield": {"Lark1", "Lark2"}, "millbank": {"Mill1", "Both1"}, "brook": {"Brook1", "Brook2", "Both1"},
	} {
		r.open(name, customers...)
	}
	return r
}

// phones are the customers' numbers, reserved for fiction by Ofcom.
var phones = map[string]string{
	"Lark1": "+447700900301", "Lark2": "+447700900302", "Mill1": "+447700900311", "Brook1": "+447700900321", "Brook2": "+447700900322",
	"Both1": "+447700900331", "Stranger": "+447700900341",
}

func (r *hosted) house(name string) *House {
	r.t.Helper()
	for _, h := range r.host.Houses {
		if h.Config.File == name {
			return h
		}
	}
	r.t.Fatal("there is no kitchen " + name)
	return nil
}

// open adds a night with an order of each customer, and closes it.
func (r *hosted) open(name string, customers ...string) {
	r.t.Helper()
	h, ctx := r.house(name), r.t.Context()
	n := h.Config.NightOn(night.DateOf(time.Now().In(h.Kitchen.Zone)), 16*60, 20*60, h.Kitchen.Zone)
	n.InstructAt, n.ClosesAt = time.Now().Add(-time.Hour), time.Now().Add(-time.Hour)
	n, err := h.Desk.AddNight(ctx, n, "cook")
	require.NoError(r.t, err)
	var book []night.Order
	for i, c := range customers {
		book = append(book, night.Order{
			Ref: fmt.Sprintf("%s-%d", strings.ToUpper(name[:1]), i+1), Name: c, Phone: phones[c], Slot: soon(h.Kitchen.Zone), State: night.Booked,
			Items: []night.Item{{Qty: 1, Name: "Pork bao", Kind: night.Hot}},
		})
	}
	_, err = h.Desk.Load(ctx, n.ID, book, "cook")
	require.NoError(r.t, err)
	r.network().Next(make([]practice.Fate, len(customers))...) // taken over; their reports are the tests'
	_, err = h.Desk.Close(ctx, n.ID, "cook")
	require.NoError(r.t, err)
	r.night[name] = n
}

func (r *hosted) order(kitchen, customer string) night.Order {
	r.t.Helper()
	orders, err := r.house(kitchen).Desk.Orders(r.t.Context(), r.night[kitchen].ID)
	require.NoError(r.t, err)
	for _, o := range orders {
		if o.Name == customer {
			return o
		}
	}
	r.t.Fatalf("%s has no order in %s", customer, kitchen)
	return night.Order{}
}

// texts gives what a kitchen has of a customer's texts.
func (r *hosted) texts(kitchen, customer string) (out []night.Inbound) {
	r.t.Helper()
	all, err := r.house(kitchen).Desk.Inbounds(r.t.Context(), r.night[kitchen].ID)
	require.NoError(r.t, err)
	for _, in := range all {
		if in.From == phones[customer] {
			out = append(out, in)
		}
	}
	return out
}

// ask sends a request to a kitchen by its name.
func (r *hosted) ask(method, host, path string, header http.Header, body string) (int, http.Header, string) {
	r.t.Helper()
	req, err := http.NewRequestWithContext(r.t.Context(), method, "http://"+r.Addr().String()+path, strings.NewReader(body))
	require.NoError(r.t, err)
	req.Host = host
	for name, values := range header {
		req.Header[name] = values
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := client.Do(req)
	require.NoError(r.t, err)
	defer func() { _ = resp.Body.Close() }()
	b, err := io.ReadAll(resp.Body)
	require.NoError(r.t, err)
	return resp.StatusCode, resp.Header, string(b)
}

// post calls the shared adapter's hook under a kitchen's name.
func (r *hosted) post(host string, call map[string]string) {
	r.t.Helper()
	b, err := json.Marshal(call)
	require.NoError(r.t, err)
	status, _, said := r.ask(http.MethodPost, host, "/hook/texts/", http.Header{"Content-Type": {"application/json"}}, string(b))
	require.Equal(r.t, http.StatusNoContent, status, said)
}

// say has a customer write to a number, and the network deliver it three times.
func (r *hosted) say(customer, to, text string) {
	r.t.Helper()
	r.calls++
	for _, host := range []string{"larkfield.example", "brook.example", "BROOK.example.:443"} {
		r.post(host, map[string]string{"id": fmt.Sprintf("in-%d", r.calls), "from": phones[customer], "to": to, "text": text})
	}
}

func (r *hosted) network() *practice.Network {
	return r.lines[0].Sender.(*practice.Network) //nolint:forcetypeassert // as configured
}
