package fusion_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/ampledger/ampledger/daemon/fusion"
)

// disagreeing reads 5 A apart, which nothing that is stated explains.
func disagreeing() *drive {
	return &drive{
		instruments: []instrument{{0, 0, 100}, {5, 0, inf}}, summaryScans: 50,
		parts: []fusion.Part{{ZeroAmperes: 0.05, GainRatio: 0.001, MeanAmperes: 50}, {ZeroAmperes: 0.5, GainRatio: 0.01, MeanAmperes: 50}},
	}
}

// In its first summary a stage knows what is stated; from the second on the best estimate is widened as much as more was seen than is allowed, and
// the other channel alone, however long, by what the fused current has moved without the better one. By hand, at 50 A: variances 0.05² + 0.05² and 0.5² +
// 0.5², so 5 A·0.99 was seen where the root of 0.5 − 0.00495 is allowed.
func TestADisagreementIsStatedFromTheNextSummaryOn(t *testing.T) {
	d := disagreeing()
	points := d.run(t, append(constant(50, 100), constant(150, 500)...))
	w, stated := weights(t, d.parts, 3)
	if points[0].zero != stated.ZeroAmperes {
		t.Errorf("%v A before anything was seen, want %v A", points[0].zero, stated.ZeroAmperes)
	}
	seen := max(w[0], w[1]) * 5
	together := 1 / (1/0.005 + 1/0.5)
	widened := math.Sqrt(together) * seen / math.Sqrt(0.5-together)
	for k, p := range points[50:100] {
		if u := math.Hypot(p.zero, p.gain*p.fused); math.Abs(u-widened) > 0.01*widened {
			t.Fatalf("scan %d: %v A stated, %v A follows from what was seen", k+50, u, widened)
		}
	}
	for k, p := range points[100:] {
		if u := math.Hypot(p.zero, p.gain*p.fused); u < seen-1e-12 || u > seen+2 {
			t.Fatalf("scan %d: %v A stated, the channels are %v A apart", k+100, u, seen)
		}
	}
}

// What has been put right is forgotten once the channels have been together for a summary again.
func TestADisagreementIsForgottenWhenItIsGone(t *testing.T) {
	s := weighed(parts...)
	one(t, s, 0, 10, 15)
	one(t, s, 1, 10, 15)
	for sequence, want := range []struct{ least, most float64 }{{4.5, 5}, {4.5, 5}, {0, 0.1}} {
		s.Weigh(parts)
		if sequence == 0 {
			if r := one(t, s, 2, nan, 15); r.ZeroAmperes < want.least || r.ZeroAmperes > want.most {
				t.Errorf("while one is out: %v A", r.ZeroAmperes)
			}
			continue
		}
		first := uint64(3 + 2*sequence)
		one(t, s, first, 15, 15)
		if r := one(t, s, first+1, 15, 15); r.ZeroAmperes < want.least || r.ZeroAmperes > want.most {
			t.Errorf("summary %d: %v A", sequence, r.ZeroAmperes)
		}
	}
}

// A difference that the stated gain explains at the current at which it was seen widens nothing; one twice as large does.
func TestTheGainExplainsItsPart(t *testing.T) {
	parts := []fusion.Part{{ZeroAmperes: 0.1, GainRatio: 0.01, MeanAmperes: 100}, {ZeroAmperes: 0.1, GainRatio: 0.01, MeanAmperes: 100}}
	_, stated := weights(t, parts, 3)
	for _, c := range []struct {
		gain  float64 // difference of the two, relative
		total float64 // A at 100 A
	}{{0.01, math.Hypot(stated.ZeroAmperes, 1/math.Sqrt2)}, {0.04, 2}} {
		d := &drive{instruments: []instrument{{0, c.gain / 2, inf}, {0, -c.gain / 2, inf}}, parts: parts, summaryScans: 50}
		points := d.run(t, constant(100, 100))
		near(t, "stated", points[99].total(), c.total, 1e-9)
	}
}

// Noise alone makes the means differ. What is stated for the zero must not grow by it, or only by what chance makes of taking the noise of
// the mean off in squares: zeros of 0.1 A, noise of the means 0.1 A.
func TestNoiseIsNoDisagreement(t *testing.T) {
	part := fusion.Part{NoiseAmperes: 1, Readings: 100, ZeroAmperes: 0.1}
	d := &drive{
		instruments: []instrument{{0, 0, inf}, {0, 0, inf}}, parts: []fusion.Part{part, part}, summaryScans: 100,
		noise: rand.New(rand.NewPCG(7, 7)),
	}
	_, stated := weights(t, d.parts, 3)
	squares, summaries := 0.0, 0.0
	for _, p := range d.run(t, constant(10, 100_000)) {
		if p.summaryBegins {
			squares, summaries = squares+p.zero*p.zero, summaries+1
		}
	}
	if rms := math.Sqrt(squares/summaries) / stated.ZeroAmperes; rms < 1 || rms > 1.15 {
		t.Errorf("stated %v times the uncertainty of the zero", rms)
	}
}

// Of three channels that agree but for one, the difference without that one counts; while it is out it is remembered, and the two others
// go on learning.
func TestThreeChannels(t *testing.T) {
	parts := []fusion.Part{{ZeroAmperes: 0.1}, {ZeroAmperes: 0.1}, {ZeroAmperes: 0.1}}
	s := weighed(parts...)
	one(t, s, 0, 10, 10, 16)
	one(t, s, 1, 10, 10, 16)
	s.Weigh(parts)
	near(t, "with all", one(t, s, 2, 10, 10, 16).ZeroAmperes, 2, 1e-14)
	one(t, s, 3, 10, 10, 16)
	s.Weigh(parts)
	one(t, s, 4, 10, 10, nan)
	one(t, s, 5, 10, 10, nan)
	s.Weigh(parts)
	near(t, "without it", one(t, s, 6, 10, 10, nan).ZeroAmperes, 2, 1e-14)
}
