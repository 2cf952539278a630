package smpp_test

import (
	"context"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/smpp"
	"passbell/adapters/smpp/pdu"
)

func TestEnquireLinkBothWays(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		got := sending(t.Context(), a, "ready")
		e := w.accept(pdu.OK)
		h, _ := e.submit()
		e.answer(h, "1")
		require.NoError(t, (<-got).err)

		e.bare(pdu.EnquireLink, pdu.OK, 77)
		h, _ = e.expect(pdu.EnquireLink.Resp())
		require.EqualValues(t, 77, h.Seq)

		started := time.Now()
		h, _ = e.expect(pdu.EnquireLink)
		require.InDelta(t, 30, time.Since(started).Seconds(), 2, "after 30 s of silence, looked at every 1.25 s")
		e.bare(h.ID.Resp(), pdu.OK, h.Seq)
		h, _ = e.expect(pdu.EnquireLink)
		e.bare(h.ID.Resp(), pdu.OK, h.Seq)
		closing(t, a, e.goodbye)
	})
}

func TestSilentCentreIsLeft(t *testing.T) {
	for name, last := range map[string][]byte{
		"nothing":             nil,
		"half a data unit":    {0, 0, 0, 40, 0, 0, 0, 5, 0, 0},
		"a length and no end": {0, 0, 1, 0, 0, 0, 0, 5, 0, 0, 0, 0, 0, 0, 0, 1, 0},
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T, w *wire) {
				a := w.adapter(func(c *smpp.Config) {
					c.Response = adapters.Duration(time.Minute)
					c.ReconnectMin, c.ReconnectMax = adapters.Duration(time.Hour), adapters.Duration(time.Hour)
				})
				got := sending(t.Context(), a, "ready")
				e := w.accept(pdu.OK)
				e.submit()
				if last != nil {
					e.write(last, nil)
				}
				e.expect(pdu.EnquireLink)
				se := refused(t, <-got, adapters.Unknown)
				require.Contains(t, se.Reason, "may have gone out")
				time.Sleep(time.Minute)
				next := sending(t.Context(), a, "again")
				se = refused(t, <-next, adapters.Temporary)
				require.True(t, se.Account)
				require.Positive(t, se.Wait, "the next try is not yet")
				e.hangUp()
			})
		})
	}
}

func TestNoAnswerInTime(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		got := sending(t.Context(), a, "ready")
		e := w.accept(pdu.OK)
		h, _ := e.submit()
		started := time.Now()
		se := refused(t, <-got, adapters.Unknown)
		require.Contains(t, se.Reason, "did not answer in time")
		require.InDelta(t, 10, time.Since(started).Seconds(), 1.5)

		next := sending(t.Context(), a, "next")
		h2, _ := e.submit()
		e.answer(h, "LATE") // belongs to nothing any more
		e.answer(h2, "2")
		s := <-next
		require.NoError(t, s.err)
		require.Equal(t, []string{"2"}, s.acc.IDs)
		closing(t, a, e.goodbye)
	})
}

func TestAnswersInAnyOrderAndNumbersThatMeet(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		sink := &adapterstest.Sink{}
		stop := receiving(t, a, sink)
		e := w.accept(pdu.OK)
		one := sending(t.Context(), a, "one")
		h1, _ := e.submit()
		two := sending(t.Context(), a, "two")
		h2, _ := e.submit()
		// A delivery with the number of a submit that waits is no answer to it.
		e.seq = h1.Seq - 1
		n := e.deliver(pdu.SM{Short: []byte("HERE")})
		require.Equal(t, h1.Seq, n)
		e.delivered(n, pdu.OK)
		// Nor is the answer to another command.
		e.bare(pdu.EnquireLink.Resp(), pdu.OK, h1.Seq)
		e.answer(h2, "B")
		e.answer(h1, "A")
		require.Equal(t, []string{"a"}, (<-one).acc.IDs)
		require.Equal(t, []string{"b"}, (<-two).acc.IDs)
		require.Len(t, sink.Inbounds(), 1)
		stopWith(t, stop, e.goodbye)
	})
}

func TestGenericNack(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		var e *end
		for status, want := range map[pdu.Status]adapters.Outcome{
			pdu.OK: adapters.Temporary, pdu.BadCommand: adapters.Permanent, pdu.Throttled: adapters.Throttled,
		} {
			got := sending(t.Context(), a, "ready")
			if e == nil {
				e = w.accept(pdu.OK)
			}
			h, _ := e.submit()
			e.bare(pdu.Nack, status, h.Seq)
			refused(t, <-got, want)
		}
		e.bare(0x77, pdu.OK, 5)
		h, _ := e.expect(pdu.Nack)
		require.Equal(t, pdu.BadCommand, h.Status)
		require.EqualValues(t, 5, h.Seq)
		e.bare(pdu.Alert, pdu.OK, 6) // has no answer
		closing(t, a, e.goodbye)
	})
}

func TestLengthThatCannotBe(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		got := sending(t.Context(), a, "ready")
		e := w.accept(pdu.OK)
		e.submit()
		e.write([]byte{0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 0, 5, 0, 0, 0, 0, 0, 0, 0, 1}, nil)
		refused(t, <-got, adapters.Unknown)
	})
}

func TestSignInRefused(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		got := sending(t.Context(), a, "ready")
		e := w.accept(pdu.BadPassword)
		se := refused(t, <-got, adapters.Temporary)
		require.True(t, se.Account)
		require.Contains(t, se.Reason, "check system_id, password and system_type (RINVPASWD (0x0E))")
		require.GreaterOrEqual(t, se.Wait, 30*time.Second, "a wrong password is not tried in haste: accounts get locked")
		for range 5 {
			refused(t, <-sending(t.Context(), a, "ready"), adapters.Temporary)
		}
		require.Equal(t, 1, w.dialled())
		e.hangUp()

		time.Sleep(se.Wait)
		got = sending(t.Context(), a, "ready")
		e = w.accept(pdu.OK)
		h, _ := e.submit()
		e.answer(h, "1")
		require.NoError(t, (<-got).err)
		closing(t, a, e.goodbye)
	})
}

func TestSignInWithoutAnswer(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		got := sending(t.Context(), a, "ready")
		e := <-w.dials
		e.expect(pdu.BindTransceiver)
		refused(t, <-got, adapters.Temporary)
	})
}

func TestReconnectBacksOff(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		w.down = true
		a := w.adapter(nil)
		stop := receiving(t, a, &adapterstest.Sink{})
		time.Sleep(10 * time.Minute)
		stop()
		// 1, 2, 4, 8, 16, 32 s and then a minute, each shortened by up to a half:
		// at least 9 waits of a minute and 6 before, at most twice that.
		require.GreaterOrEqual(t, w.dialled(), 14)
		require.LessOrEqual(t, w.dialled(), 32)
	})
}

func TestCentreSignsOff(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		got := sending(t.Context(), a, "ready")
		e := w.accept(pdu.OK)
		h, _ := e.submit()
		e.bare(pdu.Unbind, pdu.OK, 9)
		synctest.Wait()
		refused(t, <-sending(t.Context(), a, "too late"), adapters.Temporary)
		e.answer(h, "1") // what is under way is still answered
		require.NoError(t, (<-got).err)
		h, _ = e.expect(pdu.Unbind.Resp())
		require.EqualValues(t, 9, h.Seq)
		time.Sleep(time.Minute)
		got = sending(t.Context(), a, "again")
		e = w.accept(pdu.OK)
		h, _ = e.submit()
		e.answer(h, "2")
		require.NoError(t, (<-got).err)
		closing(t, a, e.goodbye)
	})
}

func TestCloseWaitsForWhatIsUnderWay(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		got := sending(t.Context(), a, "ready")
		e := w.accept(pdu.OK)
		h, _ := e.submit()
		closing(t, a, func() {
			synctest.Wait()
			e.answer(h, "1")
			e.goodbye()
		})
		require.NoError(t, (<-got).err)
		refused(t, <-sending(t.Context(), a, "after the end"), adapters.Temporary)
		require.Error(t, a.Receive(t.Context(), &adapterstest.Sink{}))
		require.NoError(t, a.Close(), "closing twice is safe")
	})
}

func TestPeerThatDoesNotRead(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		first := sending(t.Context(), a, "ready")
		e := w.accept(pdu.OK)
		synctest.Wait() // the first submit is being written and nobody reads
		second := sending(t.Context(), a, "ready")
		refused(t, <-first, adapters.Unknown)
		se := refused(t, <-second, adapters.Temporary)
		require.True(t, se.Account, "it never left this machine")
		e.hangUp()
	})
}

func TestCancelledWhileWaiting(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(func(c *smpp.Config) { c.Window = 1 })
		first := sending(t.Context(), a, "ready")
		e := w.accept(pdu.OK)
		h, _ := e.submit()
		ctx, cancel := context.WithCancel(t.Context())
		second := sending(ctx, a, "waits for the window")
		synctest.Wait()
		cancel()
		s := <-second
		refused(t, s, adapters.Temporary)
		require.ErrorIs(t, s.err, context.Canceled)
		e.answer(h, "1")
		require.NoError(t, (<-first).err)
		closing(t, a, e.goodbye)
	})
}

func TestPaceAndThrottle(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(func(c *smpp.Config) {
			c.PerSecond = 5
			c.ThrottlePause = adapters.Duration(4 * time.Second)
		})
		var all []chan sent
		for range 10 {
			all = append(all, sending(t.Context(), a, "ready"))
		}
		e := w.accept(pdu.OK)
		var at []time.Time
		for range 10 {
			h, _ := e.submit()
			at = append(at, time.Now())
			e.answer(h, "1")
		}
		for i := range at[1:] {
			require.GreaterOrEqual(t, at[i+1].Sub(at[i]), 199*time.Millisecond)
		}
		require.InDelta(t, 1.8, at[9].Sub(at[0]).Seconds(), 0.1, "and no slower")
		for _, c := range all {
			require.NoError(t, (<-c).err)
		}

		got := sending(t.Context(), a, "ready")
		h, _ := e.submit()
		e.bare(h.ID.Resp(), pdu.Throttled, h.Seq)
		refused(t, <-got, adapters.Throttled)
		started := time.Now()
		got = sending(t.Context(), a, "ready")
		h, _ = e.submit()
		require.InDelta(t, 4, time.Since(started).Seconds(), 0.3)
		e.answer(h, "1")
		require.NoError(t, (<-got).err)
		closing(t, a, e.goodbye)
	})
}

func TestTimeLimitOfAText(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		late, err := a.Send(t.Context(), adapters.Message{To: "not a number", Text: "x"})
		refused(t, sent{late, err}, adapters.Permanent)

		got := make(chan sent, 1)
		until := time.Now().Add(90 * time.Minute)
		go func() {
			acc, err := a.Send(t.Context(), adapters.Message{To: "+447700900123", Text: "x", ValidUntil: until})
			got <- sent{acc, err}
		}()
		e := w.accept(pdu.OK)
		h, m := e.submit()
		require.Equal(t, "000000013000000R", m.Validity)
		e.answer(h, "1")
		require.NoError(t, (<-got).err)
		acc, err := a.Send(t.Context(), adapters.Message{To: "+447700900123", Text: "x", ValidUntil: time.Now()})
		se := refused(t, sent{acc, err}, adapters.Permanent)
		require.Contains(t, se.Reason, "not sent")
		closing(t, a, e.goodbye)
	})
}

func TestLongTextThatFailsHalfway(t *testing.T) {
	long := strings.Repeat("Reply with car, colour and plate. ", 6)
	t.Run("the first part is refused", func(t *testing.T) {
		bubble(t, func(t *testing.T, w *wire) {
			a := w.adapter(nil)
			got := sending(t.Context(), a, long)
			e := w.accept(pdu.OK)
			h, _ := e.submit()
			e.bare(h.ID.Resp(), 0x0B, h.Seq)
			refused(t, <-got, adapters.Permanent)
			closing(t, a, e.goodbye)
		})
	})
	t.Run("the second part is refused", func(t *testing.T) {
		bubble(t, func(t *testing.T, w *wire) {
			a := w.adapter(nil)
			got := sending(t.Context(), a, long)
			e := w.accept(pdu.OK)
			h, _ := e.submit()
			e.answer(h, "1")
			h, _ = e.submit()
			e.bare(h.ID.Resp(), pdu.SystemError, h.Seq)
			s := <-got
			se := refused(t, s, adapters.Unknown)
			require.Contains(t, se.Reason, "only 1 of 2 parts")
			require.Equal(t, []string{"1"}, s.acc.IDs)
			closing(t, a, e.goodbye)
		})
	})
	t.Run("the second part is too fast", func(t *testing.T) {
		bubble(t, func(t *testing.T, w *wire) {
			a := w.adapter(nil)
			got := sending(t.Context(), a, long)
			e := w.accept(pdu.OK)
			h, _ := e.submit()
			e.answer(h, "1")
			h, _ = e.submit()
			e.bare(h.ID.Resp(), pdu.Throttled, h.Seq)
			h, _ = e.submit()
			e.answer(h, "2")
			s := <-got
			require.NoError(t, s.err)
			require.Equal(t, []string{"1", "2"}, s.acc.IDs)
			closing(t, a, e.goodbye)
		})
	})
}
