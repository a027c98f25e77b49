package service

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestWaveformWindow keeps the readings from 150 ms before the onset up to 250 ms after it, to the scan, however the driver cuts its frames.
func TestWaveformWindow(t *testing.T) {
	for _, size := range []int{1, 7, 100, 1000} {
		for _, onset := range []int64{1500, 1999, 2000, 2003} {
			t.Run(fmt.Sprintf("frames of %d, onset %d", size, onset), func(t *testing.T) {
				k := keep(t, 64<<20, 150, 250)
				k.publish(int(onset)-1000, size) // so that the onset is yet to come, as it is when the guard looks
				k.raise("e", onset)
				k.step(false)
				if _, err := k.get("e"); reasonOf(err) != "WAVEFORM_OPEN" {
					t.Errorf("while it is taken: %v", err)
				}
				k.publish(2000, size)
				a := k.mustGet("e")
				if got := a.readings(t); !slices.Equal(got, upTo(uint64(onset)-150, uint64(onset)+250)) {
					t.Errorf("%d readings from %d to %d", len(got), got[0], got[len(got)-1])
				}
				if h := a.header; !h.GetComplete() || h.GetShortfall() != "" || h.GetOnsetSequence() != uint64(onset) || h.GetAfterNanos() != 250*millisecond {
					t.Errorf("got %v", h)
				}
				k.idle()
			})
		}
	}
}

// TestWaveformsShare lets events overlap, one of them while the other is taken and one after: the frames they share stand once.
func TestWaveformsShare(t *testing.T) {
	k := keep(t, 64<<20, 100, 200)
	k.feed.hub.encoder.pool = &framePools // whose small buffers are not counted
	k.publish(500, 10)
	k.raise("first", 1450)
	k.step(false)
	k.publish(80, 10)
	k.raise("during", 1570) // 1470 to 1770
	k.publish(170, 10)      // the first one ends at 1650
	k.raise("after", 1745)  // 1645 to 1945
	k.publish(500, 10)
	for name, onset := range map[string]uint64{"first": 1450, "during": 1570, "after": 1745} {
		if got := k.mustGet(name).readings(t); !slices.Equal(got, upTo(onset-100, onset+200)) {
			t.Errorf("%s: %d readings", name, len(got))
		}
	}
	// 1350 to 1945 in frames of ten: 1350… to 1940….
	if frames, _, err := k.store.WaveformTotals(t.Context()); err != nil || frames != 60 {
		t.Errorf("%d frames (%v), 60 are enough", frames, err)
	}
	if len(k.open) != 0 || len(k.taking) != 0 {
		t.Errorf("%d windows are left, %v", len(k.open), k.taking)
	}
}

// long is how many readings TestWaveformChunks keeps before the onset, and after it, in frames of 1000.
const long = 50_000

// TestWaveformChunks writes two long waveforms of the same readings: each frame once, in transactions that hold nobody up.
func TestWaveformChunks(t *testing.T) {
	k := keep(t, 64<<20, long, long)
	k.publish(long, 1000)
	k.raise("e", 1000+long)
	k.raise("f", 1000+long)
	k.publish(long+1000, 1000)
	total := 0
	for _, bytes := range k.disk.wrote {
		if total += bytes; bytes > 2*waveformChunk {
			t.Errorf("%d bytes in a transaction", bytes)
		}
	}
	if _, bytes, err := k.store.WaveformTotals(t.Context()); err != nil || int64(total) != bytes {
		t.Errorf("%d bytes were written, %d are kept (%v)", total, bytes, err)
	}
	for _, name := range []string{"e", "f"} {
		if a := k.mustGet(name); len(a.readings(t)) != 2*long+1 || !a.header.GetComplete() {
			t.Errorf("%s: %v", name, a.header)
		}
	}
	k.idle()
}

// TestWaveformHalfWritten lets the disk fail between two transactions of a waveform that is over: what is said to be kept is there, and no more is
// said, until the rest is.
func TestWaveformHalfWritten(t *testing.T) {
	k := keep(t, 64<<20, long, 0)
	k.publish(long, 1000)
	k.raise("e", 1000+long)
	k.disk.fails = 3
	k.publish(1000, 1000)
	w, err := k.store.Waveform(t.Context(), "e")
	if err != nil || w.State != store.WaveformOpen || w.Kept.First != 1000 || w.Kept.Last >= 1000+long {
		t.Fatalf("in between: %+v, %v", w, err)
	}
	if last, err := k.store.WaveformFrames(t.Context(), w, w.Kept.Last, 1); err != nil || len(last) != 1 || last[0].Last != w.Kept.Last {
		t.Errorf("what is said to be kept is not there: %v", err)
	}
	k.disk.broken = nil
	k.step(true)
	if a := k.mustGet("e"); len(a.readings(t)) != long+1 || !a.header.GetComplete() {
		t.Errorf("in the end: %v", a.header)
	}
	k.idle()
}

// TestWaveformMemory holds little of a long window while the disk fails: what comes later waits in the hub.
func TestWaveformMemory(t *testing.T) {
	k := keep(t, 64<<20, 0, 200_000)
	k.raise("e", 1000)
	k.disk.broken = errors.New("full")
	k.publish(100_000, 1000)
	if held, most := k.open[0].bytes, waveformChunk+batch*18*1000; held < waveformChunk || held > most {
		t.Errorf("%d bytes are held, at most %d should be", held, most)
	}
	k.disk.broken = nil
	k.publish(110_000, 1000)
	if a := k.mustGet("e"); len(a.readings(t)) != 200_001 || !a.header.GetComplete() {
		t.Errorf("got %v", a.header)
	}
}

// TestWatch passes over what has no waveform, and says how many get none since too many are taken.
func TestWatch(t *testing.T) {
	k := keep(t, 1<<20, 50, 30)
	k.publish(100, 10)
	for _, kind := range []string{"note", "device", "estimator", "storage", "lost"} {
		event := raised(kind, 1100)
		event.Kind = kind
		k.Watch(event)
	}
	operated := raised("operated", 1100)
	operated.State = ampledgerv1.EventState_EVENT_STATE_OPERATED
	k.Watch(operated)
	if len(k.asked) != 0 {
		t.Errorf("%d windows", len(k.asked))
	}
	for n := range 3*mostWindows + 5 {
		k.raise(fmt.Sprint(n), 1100)
		if n < mostWindows || n == 2*mostWindows {
			k.step(false) // else the queue fills
		}
	}
	if len(k.open) != mostWindows {
		t.Errorf("%d windows are open", len(k.open))
	}
	k.publish(100, 10)
	var details []string
	for _, event := range k.told {
		details = append(details, event.GetDetail())
	}
	want := []string{
		"no waveform was kept of 65 events with onsets from 2001-09-09T01:46:41.1Z to 2001-09-09T01:46:41.1Z: 64 others were being taken",
		"no waveform was kept of 68 events with onsets from 2001-09-09T01:46:41.1Z to 2001-09-09T01:46:41.1Z: 64 others were being taken",
	}
	if !cmp.Equal(details, want) {
		t.Errorf("told %q", details)
	}
	if k.told[0].GetKind() != "storage" || k.told[0].GetConductor() != "pack" || k.told[0].GetEventId() == k.told[1].GetEventId() {
		t.Errorf("told %v", k.told)
	}
	if _, err := k.get("100"); reasonOf(err) != "WAVEFORM_NEVER" {
		t.Errorf("one that got none: %v", err)
	}
	k.idle()
}

// TestRetention drops what is beyond the limit, acknowledged first, says so, and keeps the events.
func TestRetention(t *testing.T) {
	k := keep(t, 1<<20, 10, 10)
	k.publish(100, 10)
	for n := range 4 {
		onset := int64(k.feed.next["a"]) + 5
		k.raise(fmt.Sprint("e", n), onset)
		k.publish(100, 10)
	}
	_, bytes, err := k.store.WaveformTotals(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := k.store.Acknowledge(t.Context(), store.Acknowledgement{EventID: "e2", By: "me"}); err != nil {
		t.Fatal(err)
	}
	k.config.Bytes = bytes/2 + 10
	k.retain(t.Context())
	_, left, err := k.store.WaveformTotals(t.Context())
	want := fmt.Sprintf("the waveforms of 2 events with onsets from 2001-09-09T01:46:41.105Z to 2001-09-09T01:46:41.305Z were dropped, "+
		"1 of them not acknowledged, %d bytes in all: more than ", bytes-left)
	if len(k.told) != 1 || !strings.Contains(k.told[0].GetDetail(), want) || left > k.config.Bytes || err != nil {
		t.Errorf("told %v, want %s (%v)", k.told, want, err)
	}
	for name, reason := range map[string]string{"e0": "WAVEFORM_DROPPED", "e1": "", "e2": "WAVEFORM_DROPPED", "e3": "", "e4": "EVENT_UNKNOWN"} {
		if _, err := k.get(name); reasonOf(err) != reason {
			t.Errorf("%s: %v", name, err)
		}
	}
	k.config.MostAge = time.Hour
	k.retain(t.Context()) // all onsets are of 2001
	if _, bytes, err := k.store.WaveformTotals(t.Context()); err != nil || bytes != 0 || len(k.told) != 2 {
		t.Errorf("%d bytes are left (%v), told %v", bytes, err, k.told)
	}
	k.retain(t.Context())
	if len(k.told) != 2 {
		t.Error("told again though nothing was dropped")
	}
}

// TestSilence closes the window of a channel that has no reading any more, by the clock, and keeps what was there.
func TestSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := keep(t, 1<<20, 50, 30)
		k.publish(100, 10)
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- k.Run(ctx) }()
		k.raise("e", 1100)
		for range 2 { // the onset is written at once, what follows with the next tick
			k.feed.publish("a", 0, 5)
			synctest.Wait()
		}
		for _, last := range []uint64{1104, 1109} {
			if w, err := k.store.Waveform(t.Context(), "e"); err != nil || w.Kept == nil || w.Kept.Last != last {
				t.Errorf("on disk before the window closes: %+v, %v; want up to %d", w, err, last)
			}
			time.Sleep(writtenEvery)
			synctest.Wait()
		}
		time.Sleep(silentFor - 2*writtenEvery)
		synctest.Wait()
		if _, err := k.get("e"); reasonOf(err) != "WAVEFORM_OPEN" {
			t.Errorf("a reading may come yet: %v", err)
		}
		time.Sleep(2 * time.Second)
		synctest.Wait()
		a := k.mustGet("e")
		if got := a.readings(t); !cmp.Equal(got, upTo(1050, 1109)) || !strings.Contains(a.header.GetShortfall(), "no reading came for 1m0s") {
			t.Errorf("readings %v, %v", got, a.header)
		}
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		k.idle()
	})
}
