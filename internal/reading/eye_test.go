package reading

import (
	"bufio"
	"fmt"
	"os"
	"strings"
	"testing"
)

func TestEye(t *testing.T) {
	f, err := os.Open(os.Getenv("EYE"))
	if err != nil {
		t.Skip()
	}
	sc := bufio.NewScanner(f)
	for sc.Scan() {
		when, text, ok := strings.Cut(sc.Text(), "|")
		if !ok {
			continue
		}
		want, when, _ := strings.Cut(when, " ")
		g := Read(text, situation(t, when))
		d := ""
		if g.Due != nil {
			d = "due " + g.Due.String()
		}
		if g.To != nil {
			d = "to " + g.To.String()
		}
		flag := "  "
		if want != string(g.Intent) {
			flag = "XX"
		}
		fmt.Printf("%s %-8s %-8s %-6s P%v %s %s   [%s]\n", flag, want, g.Intent, when, g.Asks, text, d, g.Why)
	}
}
