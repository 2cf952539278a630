package gateway

import (
	"context"
	"fmt"
	"time"

	"github.com/go-co-op/gocron/v2"
)

// round is what is done again and again, beginning at the start. gocron only
// ticks: what is due is decided by the database.
type round struct {
	name  string
	every time.Duration
	do    func(context.Context)
}

// startRounds begins the rounds of all kitchens, each by itself: one that has to
// wait holds up no other. There is one scheduler for the process: gocron watches
// the end of its jobs without a pause, and many that stop at once would leave
// nothing of the machine to the jobs.
func (g *Gateway) startRounds(ctx context.Context, rounds []round) error {
	ticks, err := gocron.NewScheduler(gocron.WithClock(g.host.Clock), gocron.WithLocation(time.UTC), gocron.WithStopTimeout(10*time.Second))
	if err != nil {
		return fmt.Errorf("start the rounds: %w", err)
	}
	ctx, cancel := context.WithCancel(ctx)
	g.onStop("rounds", func(ctx context.Context) error {
		cancel() // what waits for the database waits no longer, and what is half done there is undone
		return ticks.ShutdownWithContext(ctx)
	})
	for _, r := range rounds {
		_, err = ticks.NewJob(gocron.DurationJob(r.every), gocron.NewTask(func() { r.do(ctx) }), gocron.WithName(r.name),
			gocron.WithSingletonMode(gocron.LimitModeReschedule), gocron.WithStartAt(gocron.WithStartImmediately()))
		if err != nil {
			return fmt.Errorf("start the rounds: %w", err)
		}
	}
	ticks.Start()
	return nil
}
