package smpp_test

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/smpp"
	"passbell/adapters/smpp/pdu"
)

// udh makes a part of a long text with an 8-bit reference.
func udh(ref, total, seq byte, text string) pdu.SM {
	return pdu.SM{ESM: pdu.ESMUDHI, Short: append([]byte{5, 0, 3, ref, total, seq}, text...)}
}

func sar(ref, total, seq byte, text string) pdu.SM {
	return pdu.SM{Short: []byte(text), TLVs: pdu.TLVs{
		{Tag: pdu.TagSarRef, Value: []byte{0, ref}},
		{Tag: pdu.TagSarTotal, Value: []byte{total}},
		{Tag: pdu.TagSarSeq, Value: []byte{seq}},
	}}
}

func TestPartsAreAcknowledgedTogether(t *testing.T) {
	for name, part := range map[string]func(byte, byte, byte, string) pdu.SM{"udh": udh, "sar": sar} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T, w *wire) {
				a := w.adapter(nil)
				sink := &adapterstest.Sink{}
				stop := receiving(t, a, sink)
				e := w.accept(pdu.OK)
				third := e.deliver(part(7, 3, 3, "two children"))
				first := e.deliver(part(7, 3, 1, "I am here, "))
				again := e.deliver(part(7, 3, 1, "I am here, "))
				synctest.Wait()
				require.Empty(t, sink.Inbounds())
				last := e.deliver(part(7, 3, 2, "grey golf, "))
				for _, n := range []uint32{third, first, again, last} {
					e.delivered(n, pdu.OK)
				}
				got := sink.Inbounds()
				require.Len(t, got, 1)
				require.Equal(t, "I am here, grey golf, two children", got[0].Text)
				require.Equal(t, "+447700900123", got[0].From)
				require.Equal(t, "+447700900999", got[0].To)
				stopWith(t, stop, e.goodbye)
			})
		})
	}
}

// TestCentreThatDeliversOneAtATime waits for each answer before it goes on.
func TestCentreThatDeliversOneAtATime(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		sink := &adapterstest.Sink{}
		stop := receiving(t, a, sink)
		e := w.accept(pdu.OK)
		started := time.Now()
		e.delivered(e.deliver(udh(7, 2, 1, "I am ")), pdu.TemporaryFault)
		require.InDelta(t, 3, time.Since(started).Seconds(), 1)
		require.Empty(t, sink.Inbounds())
		e.delivered(e.deliver(udh(7, 2, 2, "here")), pdu.OK)
		require.Len(t, sink.Inbounds(), 1)
		require.Equal(t, "I am here", sink.Inbounds()[0].Text)
		e.delivered(e.deliver(udh(7, 2, 1, "I am ")), pdu.OK)
		require.Len(t, sink.Inbounds(), 1, "the part that comes again is of a text that is stored")
		stopWith(t, stop, e.goodbye)
	})
}

func TestPartThatStaysAway(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(func(c *smpp.Config) { c.Enquire = adapters.Duration(time.Hour) })
		full := true
		sink := &adapterstest.Sink{}
		sink.OnInbound = func(adapters.Inbound) error {
			if full {
				full = false
				return errors.New("the disk is full")
			}
			return nil
		}
		stop := receiving(t, a, sink)
		e := w.accept(pdu.OK)
		e.delivered(e.deliver(udh(7, 2, 2, "by the gate")), pdu.TemporaryFault)
		time.Sleep(6 * time.Minute)
		got := sink.Inbounds()
		require.Len(t, got, 2, "tried again after it could not be stored")
		require.Equal(t, "[part 1 of 2 did not arrive]by the gate", got[1].Text)
		require.Equal(t, got[0].ID, got[1].ID)
		e.delivered(e.deliver(udh(7, 2, 2, "by the gate")), pdu.OK)
		require.Len(t, sink.Inbounds(), 2)
		stopWith(t, stop, e.goodbye)
	})
}

func TestHeldPartsAreRefusedAtTheEnd(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		sink := &adapterstest.Sink{}
		stop := receiving(t, a, sink)
		e := w.accept(pdu.OK)
		n := e.deliver(udh(7, 2, 1, "I am "))
		synctest.Wait()
		stopWith(t, stop, func() {
			e.delivered(n, pdu.TemporaryFault)
			e.goodbye()
		})
		require.Empty(t, sink.Inbounds())
	})
}

func TestRefusedWhileNobodyReceives(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		got := sending(t.Context(), a, "ready")
		e := w.accept(pdu.OK)
		h, _ := e.submit()
		e.answer(h, "1")
		require.NoError(t, (<-got).err)
		e.delivered(e.deliver(pdu.SM{Short: []byte("HERE")}), pdu.TemporaryFault)
		sink := &adapterstest.Sink{}
		stop := receiving(t, a, sink)
		synctest.Wait()
		require.Error(t, a.Receive(t.Context(), sink), "one at a time")
		e.delivered(e.deliver(pdu.SM{Short: []byte("HERE")}), pdu.OK)
		require.Len(t, sink.Inbounds(), 1)
		stopWith(t, stop, e.goodbye)
	})
}

func TestSameTextWrittenTwice(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(func(c *smpp.Config) { c.Enquire = adapters.Duration(time.Hour) })
		sink := &adapterstest.Sink{}
		stop := receiving(t, a, sink)
		e := w.accept(pdu.OK)
		here := pdu.SM{Short: []byte("HERE")}
		e.delivered(e.deliver(here), pdu.OK)
		e.delivered(e.deliver(here), pdu.OK)
		time.Sleep(10 * time.Minute)
		e.delivered(e.deliver(here), pdu.OK)
		got := sink.Inbounds()
		require.Equal(t, got[0].ID, got[1].ID, "a double of the network")
		require.NotEqual(t, got[0].ID, got[2].ID, "ten minutes later she is still waiting")
		stopWith(t, stop, e.goodbye)
	})
}

func TestSlowSinkDoesNotHoldUpAnswers(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		stored := make(chan struct{})
		sink := &adapterstest.Sink{OnInbound: func(adapters.Inbound) error { <-stored; return nil }}
		stop := receiving(t, a, sink)
		e := w.accept(pdu.OK)
		n := e.deliver(pdu.SM{Short: []byte("HERE")})
		got := sending(t.Context(), a, "ready")
		h, _ := e.submit()
		e.answer(h, "1")
		require.NoError(t, (<-got).err)
		close(stored)
		e.delivered(n, pdu.OK)
		stopWith(t, stop, e.goodbye)
	})
}

func TestFloodIsRefusedForNow(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		stored := make(chan struct{})
		sink := &adapterstest.Sink{OnInbound: func(adapters.Inbound) error { <-stored; return nil }}
		stop := receiving(t, a, sink)
		e := w.accept(pdu.OK)
		go func() {
			for range 100 { // one sender: one is at work, 64 wait
				e.deliver(pdu.SM{Short: []byte("HERE")})
			}
		}()
		for range 100 - 65 {
			h, _ := e.expect(pdu.DeliverSM.Resp())
			require.Equal(t, pdu.TemporaryFault, h.Status)
		}
		close(stored)
		for range 65 {
			h, _ := e.expect(pdu.DeliverSM.Resp())
			require.Equal(t, pdu.OK, h.Status)
		}
		stopWith(t, stop, e.goodbye)
	})
}

func TestReceiptsOnTheWire(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		sink := &adapterstest.Sink{}
		stop := receiving(t, a, sink)
		e := w.accept(pdu.OK)
		got := sending(t.Context(), a, "ready")
		h, _ := e.submit()
		e.answer(h, "1A2B3C4D") // 439041101 in the receipt
		ids := (<-got).acc.IDs
		e.delivered(e.deliver(pdu.SM{ESM: pdu.ESMReceipt, Short: []byte("id:439041101 done date:2603131701 stat:DELIVRD err:000 text:")}), pdu.OK)
		e.delivered(e.deliver(pdu.SM{ESM: pdu.ESMIntermediate, TLVs: pdu.TLVs{
			{Tag: pdu.TagReceiptedID, Value: []byte("439041101")}, {Tag: pdu.TagMessageState, Value: []byte{1}},
		}}), pdu.OK)
		e.delivered(e.deliver(pdu.SM{ESM: pdu.ESMReceipt, TLVs: pdu.TLVs{
			{Tag: pdu.TagMessagePayload, Value: []byte("id:under_score@7 stat:REJECTD err:8 text:")},
		}}), pdu.OK)
		e.delivered(e.deliver(pdu.SM{ESM: pdu.ESMReceipt, Short: []byte("no id in it")}), pdu.OK)
		// What looks like a receipt and is not marked as one is a customer's text.
		e.delivered(e.deliver(pdu.SM{Short: []byte("id:439041101 stat:UNDELIV err:000")}), pdu.OK)

		require.Equal(t, []adapters.Receipt{
			{ID: ids[0], Status: adapters.Delivered, At: time.Date(2026, 3, 13, 17, 1, 0, 0, time.UTC)},
			{ID: ids[0], Status: adapters.OnTheWay, At: time.Now().UTC()},
			{ID: "under_score@7", Status: adapters.Failed, Reason: "the network rejected the text (the network's error 8)", At: time.Now().UTC()},
		}, sink.Receipts())
		require.Len(t, sink.Inbounds(), 1)
		stopWith(t, stop, e.goodbye)
	})
}

func TestDataSMAndNonsense(t *testing.T) {
	bubble(t, func(t *testing.T, w *wire) {
		a := w.adapter(nil)
		sink := &adapterstest.Sink{}
		stop := receiving(t, a, sink)
		e := w.accept(pdu.OK)
		// A data_sm by hand (§4.7.1): no service type, +447700900123 to
		// 447700900999, esm_class, registered_delivery, data_coding, message_payload.
		body := "\x00\x01\x01447700900123\x00\x01\x01447700900999\x00\x00\x00\x00\x04\x24\x00\x04HERE"
		raw := pdu.AppendBare(nil, pdu.Header{ID: pdu.DataSM, Seq: 31})
		raw[3] = byte(16 + len(body))
		e.write(append(raw, body...), nil)
		h, _ := e.expect(pdu.DataSM.Resp())
		require.Equal(t, pdu.Header{ID: pdu.DataSM.Resp(), Seq: 31}, h)
		require.Equal(t, "HERE", sink.Inbounds()[0].Text)

		e.bare(pdu.DeliverSM, pdu.OK, 32) // no body at all
		h, _ = e.expect(pdu.DeliverSM.Resp())
		require.Equal(t, pdu.PermanentFault, h.Status)
		stopWith(t, stop, e.goodbye)
	})
}
