package service

import (
	"fmt"
	"math"
	"math/big"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// reading is one reading of a history that is to be reduced.
type reading struct {
	epoch   uint64
	time    int64 // ns
	amperes float64
	quality scan.Quality
}

// history is readings in order of their sequence, from 0.
type history []reading

func drawHistory(t *rapid.T) history {
	var h history
	now, epoch := rapid.Int64Range(-1e9, 1e9).Draw(t, "start"), uint64(1)
	for range rapid.IntRange(1, 60).Draw(t, "readings") {
		r := reading{amperes: rapid.Float64Range(-500, 500).Draw(t, "amperes")}
		switch rapid.SampledFrom([]string{"on", "on", "on", "on", "gap", "unusable", "unusable", "epoch", "repeated"}).Draw(t, "next") {
		case "on":
			now += rapid.Int64Range(1, 2e7).Draw(t, "interval")
		case "gap":
			now += 10e9
		case "unusable":
			now += 1e7
			r.quality, r.amperes = scan.Saturated, math.NaN()
		case "epoch":
			now, epoch = rapid.Int64Range(-1e9, 20e9).Draw(t, "restart"), epoch+1
		case "repeated":
			r.quality = scan.TimeBackwards
			r.time = -rapid.Int64Range(0, 1e9).Draw(t, "back")
		}
		r.time, r.epoch = r.time+now, epoch
		h = append(h, r)
	}
	return h
}

// frame makes a message of the readings first … behind-1, which are of one epoch.
func (h history) frame(first, behind int) *ampledgerv1.Frame {
	f := &ampledgerv1.Frame{
		Channel: "a", FirstSequence: uint64(first), FirstMonotonicNanos: h[first].time, FirstWallNanos: 1e18 + h[first].time, NoiseAmperes: 0.5,
		ZeroUncertaintyAmperes: 0.25, GainUncertaintyRatio: 0.001, OffsetAmperes: float64(h[first].epoch),
	}
	for _, r := range h[first:behind] {
		f.CurrentAmperes = append(f.CurrentAmperes, r.amperes)
		f.OffsetNanos = append(f.OffsetNanos, r.time-f.GetFirstMonotonicNanos())
		f.QualityBits = append(f.QualityBits, uint32(r.quality))
	}
	return f
}

// reduce gives the buckets of the readings from first on, which join on those before; cut says whether to begin a new frame.
func (h history) reduce(t T, first int, rate float64, cut func() bool) []*ampledgerv1.Bucket {
	t.Helper()
	var buckets []*ampledgerv1.Bucket
	r := newReducer("a", rate, func(b *ampledgerv1.Bucket) error {
		buckets = append(buckets, b)
		return nil
	})
	if first > 0 {
		begin := first - 1
		for begin > 0 && h[begin-1].epoch == h[begin].epoch {
			begin--
		}
		r.join(h.frame(begin, first), h[begin].epoch, first-begin)
	}
	for begin := first; begin < len(h); {
		behind := begin + 1
		for behind < len(h) && h[behind].epoch == h[begin].epoch && !cut() {
			behind++
		}
		if err := r.add(h.frame(begin, behind), h[begin].epoch); err != nil {
			t.Fatalf("%v", err)
		}
		begin = behind
	}
	if err := r.finish(); err != nil {
		t.Fatalf("%v", err)
	}
	return buckets
}

// integral is the exact trapezoidal integral in ampere nanoseconds over the usable readings of each epoch, its time, and a scale for errors.
func (h history) integral() (exact *big.Rat, nanos int64, scale float64) {
	exact = new(big.Rat)
	last := -1
	for i, r := range h {
		if r.quality != 0 {
			continue
		}
		if last >= 0 && h[last].epoch == r.epoch {
			interval := r.time - h[last].time
			area := new(big.Rat).Add(new(big.Rat).SetFloat64(h[last].amperes), new(big.Rat).SetFloat64(r.amperes))
			exact.Add(exact, area.Mul(area, big.NewRat(interval, 2)))
			nanos += interval
			scale += float64(interval) * (math.Abs(h[last].amperes) + math.Abs(r.amperes))
		}
		last = i
	}
	return exact, nanos, scale
}

// TestBuckets reduces any history at any rate, however it is cut into frames.
func TestBuckets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := drawHistory(t)
		rate := rapid.SampledFrom([]float64{1e-300, 0.01, 1, 50, 333, 1e6}).Draw(t, "rate")
		buckets := h.reduce(t, 0, rate, func() bool { return rapid.IntRange(0, 3).Draw(t, "cut") == 0 })
		exact, nanos, scale := h.integral()
		sum, duration, next := new(big.Rat), int64(0), uint64(0)
		for _, b := range buckets {
			if b.GetFirstSequence() != next {
				t.Fatalf("a bucket begins with reading %d, %d was due", b.GetFirstSequence(), next)
			}
			if fault := h.fault(b); fault != "" {
				t.Fatalf("%s: %v", fault, b)
			}
			next = b.GetLastSequence() + 1
			duration += b.GetDurationNanos()
			if b.GetDurationNanos() > 0 {
				mean := new(big.Rat).SetFloat64(b.GetMeanAmperes())
				sum.Add(sum, mean.Mul(mean, new(big.Rat).SetInt64(b.GetDurationNanos())))
			}
		}
		off, _ := sum.Sub(sum, exact).Float64()
		if next != uint64(len(h)) || duration != nanos || math.Abs(off) > 1e-14*scale {
			t.Fatalf("%d of %d readings, %d of %d ns, off by %g of %g A·ns", next, len(h), duration, nanos, off, scale)
		}
	})
}

// fault says what is wrong with what a bucket says of its own readings.
func (h history) fault(b *ampledgerv1.Bucket) string {
	want := &ampledgerv1.Bucket{MinimumAmperes: math.Inf(1), MaximumAmperes: math.Inf(-1)}
	for _, r := range h[b.GetFirstSequence() : b.GetLastSequence()+1] {
		if r.epoch != h[b.GetFirstSequence()].epoch {
			return "two time bases"
		}
		if r.quality != 0 {
			want.UnusableCount++
			continue
		}
		want.ReadingCount++
		want.MinimumAmperes, want.MaximumAmperes = min(want.GetMinimumAmperes(), r.amperes), max(want.GetMaximumAmperes(), r.amperes)
	}
	empty := want.GetReadingCount() == 0
	switch {
	case b.GetReadingCount() != want.GetReadingCount() || b.GetUnusableCount() != want.GetUnusableCount():
		return fmt.Sprintf("counts, want %d and %d", want.GetReadingCount(), want.GetUnusableCount())
	case empty && !(math.IsNaN(b.GetMeanAmperes()) && math.IsNaN(b.GetMinimumAmperes()) && math.IsNaN(b.GetMaximumAmperes()) &&
		math.IsNaN(b.GetStandardUncertaintyAmperes()) && b.GetDurationNanos() == 0):
		return "amperes without a usable reading"
	case !empty && (b.GetMinimumAmperes() != want.GetMinimumAmperes() || b.GetMaximumAmperes() != want.GetMaximumAmperes()):
		return "extremes"
	case b.GetFirstWallNanos()-b.GetFirstMonotonicNanos() != 1e18:
		return "wall clock"
	case b.GetOffsetAmperes() != float64(h[b.GetFirstSequence()].epoch):
		return "offset"
	}
	return ""
}

// TestJoin begins in the middle: from the first end of a bucket on, the buckets are the same to the last bit, so that a subscriber may come
// back at any bucket's end.
func TestJoin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := drawHistory(t)
		rate := rapid.SampledFrom([]float64{0.5, 50, 333}).Draw(t, "rate")
		never := func() bool { return false }
		all := h.reduce(t, 0, rate, never)
		behind := rapid.IntRange(0, len(all)-1).Draw(t, "buckets before")
		first := all[behind].GetFirstSequence()
		if behind > 0 && h[first-1].epoch != h[first].epoch {
			return // nothing joins
		}
		rest := h.reduce(t, int(first), rate, never)
		if len(rest) != len(all)-behind {
			t.Fatalf("%d buckets from reading %d on, want %d", len(rest), first, len(all)-behind)
		}
		for i, b := range rest {
			if !proto.Equal(b, all[behind+i]) {
				t.Fatalf("got  %v\nwant %v", b, all[behind+i])
			}
		}
	})
}

// TestRate counts the buckets of 10 s with 100 readings a second.
func TestRate(t *testing.T) {
	var h history
	for k := range 1001 {
		h = append(h, reading{1, 5e6 + int64(k)*1e7, 1, 0})
	}
	for rate, want := range map[float64]int{1: 10, 10: 100, 33: 330, 100: 1000, 1000: 1000, 1e6: 1000, 0.01: 1, 1e-12: 1} {
		buckets := h.reduce(t, 0, rate, func() bool { return false })
		if len(buckets) != want {
			t.Errorf("%v Hz: %d buckets, want %d", rate, len(buckets), want)
		}
		for _, b := range buckets {
			// Trapezoids over n intervals weigh the readings at both ends half.
			n := float64(b.GetDurationNanos()) / 1e7
			noise := 0.5 * math.Sqrt(n-0.5) / n
			if u := math.Hypot(noise, math.Hypot(0.25, 0.001)); math.Abs(b.GetStandardUncertaintyAmperes()-u) > 1e-12 {
				t.Fatalf("%v Hz: uncertainty of %v intervals is %v, want %v", rate, n, b.GetStandardUncertaintyAmperes(), u)
			}
		}
	}
	single := h[:1].reduce(t, 0, 1, nil)
	if u := math.Hypot(0.5, math.Hypot(0.25, 0.001)); len(single) != 1 || single[0].GetMeanAmperes() != 1 || single[0].GetStandardUncertaintyAmperes() != u {
		t.Errorf("one reading gives %v", single)
	}
}

// TestReducedLoss lets a subscriber with a rate lose frames: what is lost lies between two buckets, and the next bridges it.
func TestReducedLoss(t *testing.T) {
	f := newFeed(t, 0, "a")
	s := f.subscribe(&ampledgerv1.StreamReadingsRequest{MaxRateHertz: 100}) // of 1000 readings a second
	f.publish("a", 0, 15)
	if err := s.step(); err != nil {
		t.Fatal(err)
	}
	f.publish("a", 0, 10)
	f.publish("a", 0, 15)
	f.hub.End()
	if err := s.run(t.Context()); err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, item := range s.inbox.items {
		if l := item.GetLost(); l != nil {
			got = append(got, fmt.Sprintf("lost %d-%d: %d", l.GetFirstSequence(), l.GetLastSequence(), l.GetReadingCount()))
			continue
		}
		b := item.GetBucket()
		got = append(got, fmt.Sprintf("%d-%d: %v A for %d ms", b.GetFirstSequence(), b.GetLastSequence(), b.GetMeanAmperes(), b.GetDurationNanos()/1e6))
	}
	want := []string{
		"1000-1010: 1005 A for 10 ms", "1011-1014: 1012 A for 4 ms", "lost 1015-1024: 10", "1025-1025: 1019.5 A for 11 ms",
		"1026-1030: 1027.5 A for 5 ms", "1031-1039: 1034.5 A for 9 ms",
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

// TestReducedStart begins at a sequence whose reading before is still retained: the first bucket joins on it.
func TestReducedStart(t *testing.T) {
	f := newFeed(t, math.MaxInt, "a")
	f.publish("a", 0, 15)
	f.publish("a", 0, 15)
	f.hub.End()
	for _, from := range []uint64{1000, 1007, 1014, 1015, 1016} {
		s := f.subscribe(&ampledgerv1.StreamReadingsRequest{MaxRateHertz: 100, FromSequence: &from})
		if err := s.run(t.Context()); err != nil {
			t.Fatal(err)
		}
		begin := int64(max(1000, from-1)) * 1e6
		if b := s.inbox.items[0].GetBucket(); b.GetFirstSequence() != from || b.GetFirstMonotonicNanos() != begin {
			t.Errorf("from %d: the first bucket is %v, want it to begin at %d ns", from, b, begin)
		}
	}
}
