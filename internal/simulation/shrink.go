package simulation

import (
	"fmt"
	"slices"
	"strings"
)

// Shrink makes a failing night smaller: it leaves out parts, halves at first and
// then one by one, as long as the night still fails. fails plays the night with
// only the parts that it is given; tries bounds how often. It gives the parts
// that are left.
func Shrink(parts []string, tries int, fails func(keep []string) bool) []string {
	keep := slices.Clone(parts)
	for size := (len(keep) + 1) / 2; size > 0 && tries > 0; {
		smaller := false
		for from := 0; from < len(keep) && tries > 0; {
			without := slices.Delete(slices.Clone(keep), from, min(from+size, len(keep)))
			tries--
			if fails(without) {
				keep, smaller = without, true
			} else {
				from += size
			}
		}
		if size == 1 && !smaller {
			break
		}
		size = max(1, size/2)
		if size == 1 && len(keep) == 0 {
			break
		}
	}
	return keep
}

// Command is what plays a night again.
func Command(o Options, keep []string) string {
	parts := strings.Join(keep, ",")
	if parts == "" {
		parts = "none"
	}
	return fmt.Sprintf("go test ./internal/simulation -count=1 -run 'TestSimulation$' -seed %d -most %d -keep %s -tell -v", o.Seed, o.Most, parts)
}
