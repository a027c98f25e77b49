package service

import (
	"context"
	"errors"
	"testing"

	"go.uber.org/zap"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

const millisecond = 1_000_000

// keeping is a feed whose events' waveforms go to a store, step by step, without a goroutine.
type keeping struct {
	*Waveforms
	t     *testing.T
	feed  *feed
	store *store.Store
	disk  *fickleDisk
	told  []*ampledgerv1.Event
}

// fickleDisk is a store that fails on request.
type fickleDisk struct {
	*store.Store
	broken error
	fails  int   // at the so-manieth write from now, and from then on; 0 = never
	wrote  []int // bytes in each transaction
}

// PutWaveforms implements WaveformStore.
func (d *fickleDisk) PutWaveforms(ctx context.Context, parts []store.WaveformPart) error {
	if d.fails > 0 {
		if d.fails--; d.fails == 0 {
			d.broken = errors.New("full")
		}
	}
	if d.broken != nil {
		return d.broken
	}
	bytes := 0
	for _, part := range parts {
		for _, f := range part.Frames {
			bytes += len(f.Encoded)
		}
	}
	d.wrote = append(d.wrote, bytes)
	return d.Store.PutWaveforms(ctx, parts)
}

// keep makes one that keeps so many milliseconds, which are readings of the feed, before and after an onset.
func keep(t *testing.T, retained int, before, after int64) *keeping {
	t.Helper()
	k := &keeping{t: t, feed: newFeed(t, retained, "a", "b"), store: storetest.OpenMemory(t)}
	k.disk = &fickleDisk{Store: k.store}
	k.Waveforms = NewWaveforms(WaveformsConfig{
		Hubs: map[string]*Hub{"pack": k.feed.hub}, Store: k.disk, EventPrefix: "1", BeforeNanos: before * millisecond, AfterNanos: after * millisecond,
		Bytes: 1 << 30, Log: zap.NewNop(), Tell: func(event *ampledgerv1.Event) { k.told = append(k.told, event) },
	})
	return k
}

// raised is an event of channel a whose onset is a reading of the feed.
func raised(name string, onset int64) *ampledgerv1.Event {
	return &ampledgerv1.Event{
		EventId: name, State: ampledgerv1.EventState_EVENT_STATE_RAISED, Conductor: "pack", Channel: "a", Kind: "instantaneous",
		OnsetSequence: uint64(onset), OnsetMonotonicNanos: onset * millisecond, OnsetWallNanos: 1e18 + onset*millisecond,
	}
}

// raise lets a guard element raise an event, and records it.
func (k *keeping) raise(name string, onset int64) {
	k.t.Helper()
	event := raised(name, onset)
	if _, err := k.store.Append(k.t.Context(), store.Batch{Events: []*ampledgerv1.Event{event}}); err != nil {
		k.t.Fatal(err)
	}
	k.Watch(event)
}

// step does what Run does when it is woken, or at a tick.
func (k *keeping) step(due bool) {
	for len(k.asked) > 0 {
		k.enter(<-k.asked)
		due = true
	}
	k.advance(k.t.Context(), due)
}

// publish publishes readings of channel a in frames of a size, and of b in between, and lets the windows see each.
func (k *keeping) publish(readings, size int) {
	for ; readings > 0; readings -= size {
		k.feed.publish("a", 0, min(size, readings))
		k.feed.publish("b", 0, 3)
		k.step(false)
	}
}

// answers takes what GetWaveform sends.
type answers struct {
	grpc.ServerStream
	ctx    context.Context
	header *ampledgerv1.Waveform
	frames []*ampledgerv1.Frame
}

// Context implements grpc.ServerStream.
func (a *answers) Context() context.Context { return a.ctx }

// Send implements grpc.ServerStreamingServer.
func (a *answers) Send(item *ampledgerv1.GetWaveformResponse) error {
	if item.GetWaveform() != nil {
		a.header = item.GetWaveform()
	} else {
		a.frames = append(a.frames, item.GetFrame())
	}
	return nil
}

// get asks for a waveform.
func (k *keeping) get(name string) (*answers, error) {
	server := &abuseServer{backend: &Backend{Ledger: k.store, Waveforms: k.Waveforms}}
	a := &answers{ctx: k.t.Context()}
	return a, server.GetWaveform(&ampledgerv1.GetWaveformRequest{EventId: name}, a)
}

// mustGet wants a waveform.
func (k *keeping) mustGet(name string) *answers {
	k.t.Helper()
	a, err := k.get(name)
	if err != nil {
		k.t.Fatal(err)
	}
	return a
}

// readings gives the sequences of all readings in a waveform, each of which must say the same of itself in every way.
func (a *answers) readings(t *testing.T) (all []uint64) {
	t.Helper()
	for _, f := range a.frames {
		if f.GetFirstWallNanos()-1e18 != f.GetFirstMonotonicNanos() || len(f.GetRawValues()) != len(f.GetCurrentAmperes()) {
			t.Errorf("a frame's clocks or columns differ: %v", f)
		}
		for i, amperes := range f.GetCurrentAmperes() {
			sequence := f.GetFirstSequence() + uint64(i)
			if amperes != float64(sequence) || readingTime(f, i) != int64(sequence)*millisecond || f.GetRawValues()[i] != amperes {
				t.Errorf("reading %d is %g A at %d ns", sequence, amperes, readingTime(f, i))
			}
			all = append(all, sequence)
		}
	}
	if len(all) > 0 && (a.header.GetFirstSequence() != all[0] || a.header.GetLastSequence() != all[len(all)-1]) {
		t.Errorf("readings %d to %d came, the header says %v", all[0], all[len(all)-1], a.header)
	}
	return all
}

// upTo lists sequences.
func upTo(first, last uint64) (all []uint64) {
	for ; first <= last; first++ {
		all = append(all, first)
	}
	return all
}

// idle wants that nothing is held or followed any more.
func (k *keeping) idle() {
	k.t.Helper()
	if err := k.feed.pool.check(k.feed.hub); err != nil {
		k.t.Error(err)
	}
	if len(k.open) != 0 || len(k.taking) != 0 || len(k.feed.hub.readers) != 0 {
		k.t.Errorf("%d windows, %v, %d readers are left", len(k.open), k.taking, len(k.feed.hub.readers))
	}
}

// reasonOf gives the reason of one of our errors; empty = none.
func reasonOf(err error) string {
	for _, detail := range status.Convert(err).Details() {
		if info, is := detail.(*errdetails.ErrorInfo); is {
			return info.GetReason()
		}
	}
	return ""
}
