package guard

import (
	"math"
	"reflect"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/scan"
)

// everyKind has an element of each kind, quick enough for short streams.
var everyKind = []Setting{
	{Name: "short", Side: Either, Instantaneous: &Instantaneous{PickupAmperes: 150, Scans: 2}},
	{Name: "charge", Side: Negative, DefiniteTime: &DefiniteTime{PickupAmperes: 100, DelaySeconds: 0.02}},
	{Name: "law", Side: Positive, InverseTime: &InverseTime{Curve: "ieee-moderately-inverse", PickupAmperes: 100, TimeMultiplier: 0.01}},
	{Name: "held", Side: Either, InverseTime: &InverseTime{Curve: "iec-standard-inverse", PickupAmperes: 100, TimeMultiplier: 0.002, ResetSeconds: 0.01}},
	{Name: "rail", Side: Positive, Saturation: &Saturation{Scans: 2}},
	{Name: "stale", Side: Either, Staleness: &Staleness{AfterSeconds: 0.1}},
}

// stream draws frames of one device: calm or wild currents, regular or irregular clocks, pauses, new epochs, every fault.
func stream(t *rapid.T) (frames []*scan.Readings) {
	clock := scan.Clock{Wall: 1e18}
	for range rapid.IntRange(1, 8).Draw(t, "frames") {
		r := frame(t, clock)
		frames = append(frames, r)
		n := r.Len()
		clock.Sequence += uint64(n)
		clock.Monotonic = r.At(n-1) + pause(t)
		if rapid.IntRange(0, 7).Draw(t, "restart") == 0 {
			clock.Epoch, clock.Monotonic = clock.Epoch+1, 0
		}
	}
	return frames
}

func frame(t *rapid.T, clock scan.Clock) *scan.Readings {
	r := &scan.Readings{Clock: clock, NoiseAmperes: 0.1, GainRatio: 0.01, Averaged: rapid.Bool().Draw(t, "averaged")}
	r.Estimate = scan.Estimate{Offset: 1, Age: rapid.SampledFrom([]int64{-1, 90 * second}).Draw(t, "age"), Generation: 1}
	n := rapid.IntRange(1, 12).Draw(t, "readings")
	wild, faulty := rapid.Bool().Draw(t, "wild"), rapid.IntRange(0, 3).Draw(t, "faulty") == 0
	regular := rapid.Bool().Draw(t, "regular")
	if regular {
		r.Period = rapid.SampledFrom([]int64{1, 10, 120}).Draw(t, "period") * millisecond
	}
	at := int64(0)
	for range n {
		r.Amperes = append(r.Amperes, current(t, wild))
		if faulty {
			r.Quality = append(r.Quality, fault(t))
		}
		if !regular {
			r.Offsets = append(r.Offsets, at)
			at += pause(t)
		}
	}
	settle(r)
	return r
}

func current(t *rapid.T, wild bool) float64 {
	if !wild {
		return rapid.Float64Range(-94, 94).Draw(t, "calm")
	}
	return rapid.SampledFrom([]float64{-300, -150, -120, -97, 0, 97, 100, 130, 200, 900}).Draw(t, "wild")
}

func fault(t *rapid.T) scan.Quality {
	if rapid.Bool().Draw(t, "good") {
		return 0
	}
	return rapid.SampledFrom(scan.Causes[:]).Draw(t, "cause")
}

// pause is the time to the next reading; clocks that stand or run backwards without a flag are drawn, too.
func pause(t *rapid.T) int64 {
	return rapid.SampledFrom([]int64{1, 1, 1, 7, 60, 150, 1500, 0, -40}).Draw(t, "pause") * millisecond
}

// cut divides readings in front of reading k as the pipeline would have, had the driver cut its frames so.
func cut(r *scan.Readings, k int) (head, tail *scan.Readings) {
	part := func(i, j int) *scan.Readings {
		p := *r
		p.Clock = r.From(i, j)
		p.Amperes = r.Amperes[i:j]
		if r.Quality != nil {
			p.Quality = r.Quality[i:j]
		}
		if p.Age >= 0 {
			p.Age += r.At(i) - r.At(0)
		}
		settle(&p)
		return &p
	}
	return part(0, k), part(k, r.Len())
}

// The quick way over quiet frames leaves the same bits as walking them.
func TestSkimmingEqualsWalking(t *testing.T) {
	skimmed := 0
	rapid.Check(t, func(t *rapid.T) {
		quick, slow := newGuard(everyKind), newGuard(everyKind)
		var quickly, slowly []Change
		for i, r := range stream(t) {
			if quick.quiet(r) {
				skimmed++
			}
			quick.Apply(r, func(c Change) { quickly = append(quickly, c) })
			slow.walk(r, func(c Change) { slowly = append(slowly, c) })
			if !reflect.DeepEqual(quick, slow) {
				t.Fatalf("after frame %d of %+v:\nquick %+v\nslow  %+v", i, r, quick, slow)
			}
		}
		if diff := cmp.Diff(slowly, quickly); diff != "" {
			t.Fatal(diff)
		}
	})
	if skimmed == 0 {
		t.Error("no frame was skimmed: nothing was compared")
	}
}

// An event that is over must not leave the guard on the slow way.
func TestQuietAgainAfterEachEvent(t *testing.T) {
	for _, s := range everyKind {
		g := newGuard([]Setting{s})
		got := collect(g, script(t, "0 900 900r -900 -900 +2s 0 0 0"))
		if len(got) == 0 || got[len(got)-1].State != Cleared || !g.quiet(constant(0, 1)) {
			t.Errorf("%s: %s, then quiet: %v", s.Name, story(got), g.quiet(constant(0, 1)))
		}
	}
}

func TestFrameCutsChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		whole, pieces := newGuard(everyKind), newGuard(everyKind)
		var once, often []Change
		for _, r := range stream(t) {
			whole.Apply(r, func(c Change) { once = append(once, c) })
			for r.Len() > 1 {
				var head *scan.Readings
				head, r = cut(r, rapid.IntRange(1, r.Len()-1).Draw(t, "cut"))
				pieces.Apply(head, func(c Change) { often = append(often, c) })
			}
			pieces.Apply(r, func(c Change) { often = append(often, c) })
		}
		if diff := cmp.Diff(once, often); diff != "" {
			t.Fatal(diff)
		}
	})
}

// Each event is Raised, perhaps Operated, Cleared, in this order and once each; an element has one event at a time.
func TestEventsFollowTheTable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := newGuard(everyKind)
		open, newest := make(map[int]Change), uint64(0)
		tell := func(c Change) {
			before := open[c.Element]
			switch {
			case c.State == Raised:
				newest++
				if before.State != Cleared || c.Event != newest {
					t.Fatalf("%+v follows %+v", c, before)
				}
			case c.Event != before.Event, c.Onset != before.Onset, before.State == Cleared, c.State == before.State:
				t.Fatalf("%+v follows %+v", c, before)
			}
			if math.IsNaN(c.ChargeCoulombs+c.SquareAmpereSeconds+c.PeakUncertaintyAmperes) || c.Name != everyKind[c.Element].Name {
				t.Fatalf("%+v", c)
			}
			open[c.Element] = c
		}
		for _, r := range stream(t) {
			g.Apply(r, tell)
		}
	})
}

// newGuard makes a guard where there is no *testing.T.
func newGuard(settings []Setting) *Guard {
	g, err := New(settings)
	if err != nil {
		panic(err)
	}
	return g
}

func TestNoAllocations(t *testing.T) {
	for name, r := range map[string]*scan.Readings{"quiet": constant(50, 1000), "active": constant(400, 1000), "changing": constant(0, 1000)} {
		if name == "changing" {
			for k := range r.Amperes {
				r.Amperes[k] = float64(k % 3 * 200)
			}
			settle(r)
		}
		g, told := must(t, everyKind...), 0
		allocs := testing.AllocsPerRun(100, func() {
			g.Apply(r, func(Change) { told++ })
			g.Silent(0, 3600*second, func(Change) { told++ })
			r.Monotonic += second
		})
		if allocs != 0 || told == 0 {
			t.Errorf("%s: %v allocations a frame, %d changes", name, allocs, told)
		}
	}
}
