package adapterstest

import (
	"errors"
	"sync/atomic"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
)

// errFull is what a sink says that cannot store.
var errFull = errors.New("the disk is full")

func inboundStored(b *bench) {
	in := b.inbound(1)
	sink := &Sink{OnInbound: func(adapters.Inbound) error {
		assert.False(b, b.peer.Acknowledged(in.ID), "acknowledged before it was stored")
		return nil
	}}
	b.listen(sink)
	b.peer.Offer(in)
	b.until("the inbound is acknowledged", func() bool { return b.peer.Acknowledged(in.ID) })

	got := sink.Inbounds()
	require.NotEmpty(b, got)
	require.NotEmpty(b, got[0].ID)
	require.Equal(b, in.From, got[0].From)
	require.Equal(b, in.Text, got[0].Text)
	if !got[0].At.IsZero() {
		require.WithinDuration(b, in.At, got[0].At, time.Second)
	}
}

func inboundRefused(b *bench) {
	in := b.inbound(1)
	var tries atomic.Int32
	sink := &Sink{OnInbound: func(adapters.Inbound) error {
		assert.False(b, b.peer.Acknowledged(in.ID), "acknowledged though it was not stored")
		if tries.Add(1) <= 2 {
			return errFull
		}
		return nil
	}}
	b.listen(sink)
	b.peer.Offer(in)
	b.until("the inbound comes again until it is stored", func() bool { return b.peer.Acknowledged(in.ID) })

	got := sink.Inbounds()
	require.GreaterOrEqual(b, len(got), 3)
	for _, again := range got {
		require.Equal(b, got[0].ID, again.ID, "every delivery of one text has the same id")
		require.Equal(b, in.Text, again.Text)
	}
}

func inboundTwice(b *bench) {
	in := b.inbound(1)
	sink := &Sink{}
	b.listen(sink)
	b.peer.Offer(in)
	b.until("the inbound is acknowledged", func() bool { return b.peer.Acknowledged(in.ID) })
	before := len(sink.Inbounds())
	b.peer.Repeat(in.ID)
	b.until("the repeated inbound arrives", func() bool { return len(sink.Inbounds()) > before })
	for _, again := range sink.Inbounds() {
		require.Equal(b, sink.Inbounds()[0].ID, again.ID)
	}
}

func inboundsDiffer(b *bench) {
	const n = 5
	sink := &Sink{}
	b.listen(sink)
	for i := range n {
		b.peer.Offer(b.inbound(i))
	}
	b.until("every inbound is acknowledged", func() bool {
		for _, in := range b.in {
			if !b.peer.Acknowledged(in.ID) {
				return false
			}
		}
		return true
	})
	texts := map[string]string{}
	for _, in := range sink.Inbounds() {
		texts[in.ID] = in.Text
	}
	require.Len(b, texts, n, "one id a text")
}

func receipts(b *bench) {
	sink := &Sink{}
	b.listen(sink)
	var ids []string
	for i := range 2 {
		acc, err := b.send(b.context(), b.message(i))
		require.NoError(b, err)
		require.NotEmpty(b, acc.IDs)
		ids = append(ids, acc.IDs[0])
	}
	at := time.Date(2026, 3, 13, 17, 30, 0, 0, time.UTC)
	want := map[string]adapters.Status{ids[0]: adapters.Failed, ids[1]: adapters.Delivered}
	// The second text's receipt comes first: nothing promises an order.
	b.peer.Receipt(adapters.Receipt{ID: ids[1], Status: adapters.Delivered, At: at})
	b.peer.Receipt(adapters.Receipt{ID: ids[0], Status: adapters.Failed, Reason: "absent", At: at})
	b.until("both receipts arrive", func() bool {
		got := map[string]adapters.Status{}
		for _, r := range sink.Receipts() {
			got[r.ID] = r.Status
		}
		return got[ids[0]] == want[ids[0]] && got[ids[1]] == want[ids[1]]
	})
	if b.rig.Lacks.Progress {
		return
	}
	// A late word of progress is passed on as it came; the gateway, not the
	// adapter, knows that it changes nothing.
	b.peer.Receipt(adapters.Receipt{ID: ids[1], Status: adapters.OnTheWay, At: at})
	b.until("the late word arrives", func() bool {
		for _, r := range sink.Receipts() {
			if r.ID == ids[1] && r.Status == adapters.OnTheWay {
				return true
			}
		}
		return false
	})
}

func receiptFirst(b *bench) {
	sink := &Sink{}
	b.listen(sink)
	b.peer.Next(ReceiptFirst)
	acc, err := b.send(b.context(), b.message(1))
	require.NoError(b, err)
	require.NotEmpty(b, acc.IDs)
	b.until("the early receipt is not lost", func() bool {
		for _, r := range sink.Receipts() {
			if r.ID == acc.IDs[0] && r.Status == adapters.Delivered {
				return true
			}
		}
		return false
	})
}

func receiptRefused(b *bench) {
	var tries atomic.Int32
	sink := &Sink{OnReceipt: func(adapters.Receipt) error {
		if tries.Add(1) <= 2 {
			return errFull
		}
		return nil
	}}
	b.listen(sink)
	acc, err := b.send(b.context(), b.message(1))
	require.NoError(b, err)
	b.peer.Receipt(adapters.Receipt{
		ID: acc.IDs[0], Status: adapters.Delivered, At: time.Date(2026, 3, 13, 17, 30, 0, 0, time.UTC),
	})
	b.until("the receipt comes again until it is stored", func() bool { return len(sink.Receipts()) >= 3 })
	for _, r := range sink.Receipts() {
		require.Equal(b, acc.IDs[0], r.ID)
	}
}
