package fusion_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/fusion"
	"github.com/ampledger/ampledger/daemon/scan"
)

// books are accounts that integrate what the shares are made of, scan by scan: of each channel its weight and weight times current.
type books struct {
	fused, offset    *charge.Account
	seconds, current []*charge.Account
	posted           []charge.Totals // of seconds and current, fused and offset, when last asked
}

func account(t *rapid.T, gapNanos int64) *charge.Account {
	a, err := charge.New(charge.Config{GapNanos: gapNanos, BoundAmperes: 1, SaturatedBoundAmperes: 1})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func newBooks(t *rapid.T, gapNanos int64, channels int) *books {
	b := &books{fused: account(t, gapNanos), offset: account(t, gapNanos)}
	for range channels {
		b.seconds, b.current = append(b.seconds, account(t, gapNanos)), append(b.current, account(t, gapNanos))
	}
	b.posted = make([]charge.Totals, 2*channels+2)
	return b
}

// since gives the coulombs that an account counted since it was last asked; place says which.
func (b *books) since(place int, a *charge.Account) float64 {
	totals := a.Totals()
	defer func() { b.posted[place] = totals }()
	return float64(totals.Since(b.posted[place]).Net()) / 1e6
}

// weightsOf finds out the weights of each set that is used.
type weightsOf map[uint][]float64

func (w weightsOf) at(t *rapid.T, parts []fusion.Part, batch []*scan.Readings, k int) []float64 {
	used := uint(0)
	for i, r := range batch {
		if usable(r, k) {
			used |= 1 << i
		}
	}
	if w[used] == nil && used != 0 {
		w[used], _ = weights(t, parts, used)
	}
	return w[used]
}

// usable tells what the stage must use.
func usable(r *scan.Readings, k int) bool {
	y := r.Amperes[k]
	return r.QualityAt(k) == 0 && y-y == 0
}

// enter takes the fused readings of a batch into all books. Weights are scaled up, or a microcoulomb would be too coarse.
func (b *books) enter(t *rapid.T, known weightsOf, parts []fusion.Part, batch, out []*scan.Readings) {
	for _, r := range out {
		b.fused.Apply(r)
		from := int(r.Sequence - batch[0].Sequence)
		b.offset.Apply(replaced(r, func(k int) (sum float64) {
			for i, w := range known.at(t, parts, batch, from+k) {
				sum += w * batch[i].Offset
			}
			return sum
		}))
		for i := range batch {
			weight := func(k int) float64 {
				if w := known.at(t, parts, batch, from+k); w != nil {
					return w[i]
				}
				return nan
			}
			b.seconds[i].Apply(replaced(r, func(k int) float64 { return scaled * weight(k) }))
			b.current[i].Apply(replaced(r, func(k int) float64 {
				if !usable(batch[i], from+k) {
					return 0
				}
				return weight(k) * (batch[i].Amperes[from+k] + batch[i].Offset)
			}))
		}
	}
}

const scaled = 1e6

// replaced has other amperes.
func replaced(r *scan.Readings, amperes func(k int) float64) *scan.Readings {
	same := *r
	same.Amperes = slices.Clone(r.Amperes)
	for k := range same.Amperes {
		same.Amperes[k] = amperes(k)
	}
	return &same
}

// Each share is what a charge account makes of weight, and of weight times current; all together are the charge of the fused readings and
// what was subtracted from it. A summary's charge is that between its accounts' last usable readings.
func TestSharesAreIntegratedAsChargeIs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limit, all := gapLimit(t), history(t)
		s, b := fusion.New(len(all[0].parts), limit), newBooks(t, limit, len(all[0].parts))
		for _, each := range all {
			s.Weigh(each.parts)
			known := weightsOf{}
			for _, batch := range each.batches {
				b.enter(t, known, each.parts, batch, apply(t, s, batch...))
			}
			b.compare(t, s.Take(nil))
		}
	})
}

// compare holds the shares of a summary against the books.
func (b *books) compare(t *rapid.T, shares []fusion.Share) {
	total, size := 0.0, 0.0
	for i, share := range shares {
		total, size = total+share.Coulombs, size+math.Abs(share.Coulombs)
		near(t, "seconds", share.WeightSeconds, b.since(2*i, b.seconds[i])/scaled, 1e-11)
		same(t, "a share", share.Coulombs, b.since(2*i+1, b.current[i]), math.Abs(share.Coulombs))
	}
	n := len(b.posted)
	net, offset := b.since(n-2, b.fused), b.since(n-1, b.offset)
	same(t, "all shares less the offset", total-offset, net, size)
}

// same compares charges to what two accounts round away (out and in, before and after, each by half a microcoulomb), and a few last
// places of their size.
func same(t *rapid.T, what string, got, want, size float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 4e-6+1e-12*size) {
		t.Fatalf("%s: %.9f C, want %.9f C", what, got, want)
	}
}

// Time that stands still upstream unflagged costs a reading, as in the account, and no share.
func TestTimeThatDoesNotAdvance(t *testing.T) {
	s := weighed(parts...)
	times := []int64{0, second, second, second / 2, 2 * second}
	var both []*scan.Readings
	for range 2 {
		r := channel(0, 10, 10, 1e6, 1e6, 10)
		r.Period, r.Offsets = 0, times
		both = append(both, r)
	}
	apply(t, s, both...)
	shares := s.Take(nil)
	near(t, "coulombs", shares[0].Coulombs+shares[1].Coulombs, 20, 1e-15)
	near(t, "seconds", shares[0].WeightSeconds+shares[1].WeightSeconds, 2, 1e-15)
	if again := s.Take(shares[:0]); again[0] != (fusion.Share{}) || again[1] != (fusion.Share{}) {
		t.Errorf("left after they were taken: %v", again)
	}
}
