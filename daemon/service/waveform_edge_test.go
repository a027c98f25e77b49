package service

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/store"
)

// small is what a hub may retain: two frames of each channel.
const small = 4 * (frameBytes + entryBytes)

// shortcomings are what keeps a waveform from being whole, and what must be there all the same.
var shortcomings = map[string]struct {
	retained  int
	play      func(*keeping)
	want      []uint64
	shortfall string // empty = it is complete
}{
	"nothing in the way": {1 << 20, func(k *keeping) { k.publish(200, 10) }, upTo(1050, 1130), ""},
	"the disk fails for a while": {1 << 20, func(k *keeping) {
		k.disk.broken = errors.New("full")
		k.publish(100, 10)
		k.disk.broken = nil
		k.publish(100, 10)
	}, upTo(1050, 1130), ""},
	"the hub is overrun": {small, func(k *keeping) {
		k.feed.publish("a", 0, 10)
		k.step(false)
		for range 4 {
			k.feed.publish("a", 0, 10)
			k.feed.publish("b", 0, 10)
			k.feed.publish("b", 0, 10)
		}
	}, upTo(1090, 1109), "were lost"},
	"the onset is overrun": {small, func(k *keeping) {
		for range 4 {
			k.feed.publish("a", 0, 10)
			k.feed.publish("b", 0, 10)
			k.feed.publish("b", 0, 10)
		}
	}, nil, "the reading at the onset was retained no more"},
	"the front is overrun": {small, func(k *keeping) { k.publish(200, 10) }, upTo(1090, 1130), "earlier readings were retained no more"},
	"the time base ends": {1 << 20, func(k *keeping) {
		k.publish(20, 10)
		k.feed.epoch++
		k.publish(200, 10)
	}, upTo(1050, 1119), "time began anew"},
	"the devices end": {1 << 20, func(k *keeping) {
		k.publish(20, 10)
		k.feed.hub.End()
	}, upTo(1050, 1119), "came to their end"},
	"the device skips scans": {1 << 20, func(k *keeping) {
		k.publish(10, 10)
		k.feed.publish("a", 5, 5)
		k.publish(100, 10)
	}, append(upTo(1050, 1109), upTo(1115, 1130)...), ""},
	"the device skips the end": {1 << 20, func(k *keeping) {
		k.publish(10, 10)
		k.feed.publish("a", 300, 5)
	}, upTo(1050, 1109), ""},
	"the daemon stops": {1 << 20, func(k *keeping) {
		k.publish(20, 10)
		ctx, cancel := context.WithCancel(k.t.Context())
		cancel()
		k.end(ctx)
	}, upTo(1050, 1119), "the daemon stopped"},
	"the daemon stops before it looked": {1 << 20, func(k *keeping) {
		k.feed.publish("a", 0, 10)
		k.end(k.t.Context())
	}, upTo(1050, 1109), "the daemon stopped"},
}

// TestWaveformShort plays them: the onset is reading 1100, and 1050 to 1130 are to be kept.
func TestWaveformShort(t *testing.T) {
	for name, row := range shortcomings {
		t.Run(name, func(t *testing.T) {
			k := keep(t, row.retained, 50, 30)
			k.publish(100, 10)
			if row.retained != small {
				k.feed.publish("b", 0, 10)
			}
			k.raise("e", 1100)
			row.play(k)
			k.step(true)
			a := k.mustGet("e")
			if got := a.readings(t); !cmp.Equal(got, row.want) {
				t.Errorf("readings %v, want %v", got, row.want)
			}
			h := a.header
			if h.GetComplete() != (row.shortfall == "") || !strings.Contains(h.GetShortfall(), row.shortfall) {
				t.Errorf("got %v", h)
			}
			k.idle()
		})
	}
}

// TestWaveformFront lets the hub retain no more than the window needs: that frames before were evicted matters only if the window reached there.
func TestWaveformFront(t *testing.T) {
	for name, row := range map[string]struct {
		before   int64 // ns
		first    uint64
		complete bool
	}{
		"within the oldest frame":    {14.5 * millisecond, 1086, true},
		"at its beginning":           {20 * millisecond, 1080, true},
		"before it":                  {20*millisecond + 1, 1080, false},
		"between it and the next":    {10.5 * millisecond, 1090, true},
		"behind all that was before": {0.5 * millisecond, 1100, true},
	} {
		t.Run(name, func(t *testing.T) {
			k := keep(t, 3*(frameBytes+entryBytes), 0, 5)
			k.config.BeforeNanos = row.before
			for range 10 {
				k.feed.publish("a", 0, 10)
			}
			k.raise("e", 1100)
			k.feed.publish("a", 0, 10)
			k.feed.hub.limit += 10 * (frameBytes + entryBytes)
			k.step(true)
			k.publish(10, 10)
			a := k.mustGet("e")
			if got := a.readings(t); got[0] != row.first || a.header.GetComplete() != row.complete {
				t.Errorf("from %d on, want %d; %v", got[0], row.first, a.header)
			}
			k.idle()
		})
	}
}

// TestWaveformTimeBase begins anew before the onset, at times that lie in the window as well: what was before it is not the event's. Nothing is
// missing, since the device's time has no more.
func TestWaveformTimeBase(t *testing.T) {
	k := keep(t, 1<<20, 50, 30)
	k.publish(90, 10)
	k.feed.epoch++
	k.publish(10, 10)
	k.raise("e", 1100)
	k.publish(100, 10)
	a := k.mustGet("e")
	if got := a.readings(t); !cmp.Equal(got, upTo(1090, 1130)) || !a.header.GetComplete() {
		t.Errorf("readings %v, %v", got, a.header)
	}
	k.idle()
}

// TestWaveformOfTheFirstReadings raises an event at the daemon's very first reading.
func TestWaveformOfTheFirstReadings(t *testing.T) {
	k := keep(t, 1<<20, 50, 30)
	k.raise("e", 1000)
	k.step(false)
	k.publish(100, 7)
	a := k.mustGet("e")
	if got := a.readings(t); !cmp.Equal(got, upTo(1000, 1030)) || !a.header.GetComplete() {
		t.Errorf("readings %v, %v", got, a.header)
	}
}

// TestWaveformIrregular cuts a frame whose readings are not evenly spaced, with faults.
func TestWaveformIrregular(t *testing.T) {
	k := keep(t, 1<<20, 10, 10)
	k.raise("e", 5)
	event := <-k.asked
	event.OnsetMonotonicNanos = 100 * millisecond
	k.enter(event)
	r := &scan.Readings{Clock: scan.Clock{Epoch: 1, Monotonic: 80 * millisecond}}
	for i, at := range []int64{80, 89, 90, 95, 99, 100, 101, 110, 111} {
		r.Offsets, r.Amperes, r.Raw = append(r.Offsets, (at-80)*millisecond), append(r.Amperes, float64(i)), append(r.Raw, float64(i))
		r.Quality = append(r.Quality, scan.Quality(i%2))
		r.Causes |= scan.Quality(i % 2)
	}
	k.feed.hub.Publish(k.feed.lanes()[0], r)
	k.step(false)
	f := k.mustGet("e").frames[0]
	if !cmp.Equal(f.GetCurrentAmperes(), []float64{2, 3, 4, 5, 6, 7}) || !cmp.Equal(f.GetQualityBits(), []uint32{0, 1, 0, 1, 0, 1}) ||
		!cmp.Equal(f.GetOffsetNanos(), []int64{0, 5 * millisecond, 9 * millisecond, 10 * millisecond, 11 * millisecond, 20 * millisecond}) {
		t.Errorf("got %v", f)
	}
}

// TestWaveformOfFusedCurrent cuts readings that have no raw values, since they are made of several channels.
func TestWaveformOfFusedCurrent(t *testing.T) {
	k := keep(t, 1<<20, 2, 2)
	k.raise("e", 5)
	r := &scan.Readings{Clock: scan.Clock{Epoch: 1, Period: millisecond}, Amperes: []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}}
	k.feed.hub.Publish(k.feed.lanes()[0], r)
	k.step(false)
	if f := k.mustGet("e").frames[0]; !cmp.Equal(f.GetCurrentAmperes(), []float64{3, 4, 5, 6, 7}) || f.GetFirstSequence() != 3 || len(f.GetRawValues()) != 0 {
		t.Errorf("got %v", f)
	}
}

// TestKilled finds after a kill what was written of an open window, and that it says why there is no more; of an event that was recorded
// before its window began it says that there is none.
func TestKilled(t *testing.T) {
	k := keep(t, 1<<20, 50, 30)
	k.publish(100, 10)
	k.raise("open", 1100)
	k.step(false)
	k.publish(10, 10)
	k.raise("not begun", 1110)
	// Here it is killed: another takes its place.
	again := keep(t, 1<<20, 50, 30)
	again.config.Store = k.store
	again.begin(t.Context())
	k.Waveforms = again.Waveforms
	a := k.mustGet("open")
	if got := a.readings(t); !cmp.Equal(got, upTo(1050, 1109)) || a.header.GetShortfall() != "the daemon ended before the window did" {
		t.Errorf("readings %v, %v", got, a.header)
	}
	if _, err := k.get("not begun"); reasonOf(err) != "WAVEFORM_NEVER" {
		t.Errorf("got %v", err)
	}
}

// TestWaveformDamaged takes a frame out of the file: what is left is not given as if it were all.
func TestWaveformDamaged(t *testing.T) {
	k := keep(t, 1<<20, 50, 30)
	k.publish(100, 10)
	k.raise("e", 1100)
	k.publish(100, 10)
	w, err := k.store.Waveform(t.Context(), "e")
	if err != nil {
		t.Fatal(err)
	}
	for name, hole := range map[string]uint64{"in the middle": 1080, "at the end": 1130} {
		broken := holed{k.store, hole}
		server := &abuseServer{backend: &Backend{Ledger: broken}}
		if err := server.sendFrames(w, &answers{ctx: t.Context()}); reasonOf(err) != "WAVEFORM_DAMAGED" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// holed is a store that lacks a frame.
type holed struct {
	*store.Store
	at uint64
}

// WaveformFrames implements AbuseLog.
func (h holed) WaveformFrames(ctx context.Context, w *store.Waveform, from uint64, limit int) ([]store.WaveformFrame, error) {
	frames, err := h.Store.WaveformFrames(ctx, w, from, limit)
	return slices.DeleteFunc(frames, func(f store.WaveformFrame) bool { return f.First == h.at }), err
}
