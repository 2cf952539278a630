package simulation_test

import (
	"fmt"
	"testing"

	"passbell/internal/simulation"
	"passbell/internal/store/pgtest"
)

// TestSimulationOnAServer plays nights with several instances on one PostgreSQL.
func TestSimulationOnAServer(t *testing.T) {
	t.Parallel()
	server := pgtest.Start(t, "max_connections=400")
	db := func(t *testing.T) string { t.Helper(); return server.Database(t) }
	for i := range uint64(max(3, *nights/10)) {
		o := simulation.Options{Seed: *first + i, Most: *most}
		t.Run(fmt.Sprintf("seed %d", o.Seed), func(t *testing.T) {
			if out := play(t, db, o); !out.OK() {
				small(t, db, o, out.Broken)
			}
		})
	}
}
