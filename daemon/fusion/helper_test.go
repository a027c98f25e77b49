package fusion_test

import (
	"math"
	"slices"
	"testing"

	"github.com/ampledger/ampledger/daemon/fusion"
	"github.com/ampledger/ampledger/daemon/scan"
)

const second = int64(1e9)

var (
	nan = math.NaN()
	inf = math.Inf(1)
)

// failer is a *testing.T or a *rapid.T.
type failer interface {
	Helper()
	Fatalf(format string, arguments ...any)
}

// channel makes good readings, one a second; NaN is missing.
func channel(sequence uint64, amperes ...float64) *scan.Readings {
	r := &scan.Readings{
		Clock:   scan.Clock{Sequence: sequence, Wall: 1e18 + int64(sequence)*second, Monotonic: int64(sequence) * second, Period: second},
		Amperes: amperes, Estimate: scan.Estimate{Age: -1},
	}
	for k, y := range amperes {
		if y != y {
			flag(r, k, scan.Missing)
		}
	}
	settle(r)
	return r
}

// flag says what is wrong with reading k.
func flag(r *scan.Readings, k int, q scan.Quality) {
	if r.Quality == nil {
		r.Quality = make([]scan.Quality, r.Len())
	}
	r.Quality[k] |= q
	settle(r)
}

// settle fills what follows from amperes and qualities.
func settle(r *scan.Readings) {
	r.Usable, r.Minimum, r.Maximum, r.Causes = 0, inf, -inf, 0
	for k, y := range r.Amperes {
		r.Causes |= r.QualityAt(k)
		if r.QualityAt(k) == 0 {
			r.Usable, r.Minimum, r.Maximum = r.Usable+1, min(r.Minimum, y), max(r.Maximum, y)
		}
	}
	if r.Causes == 0 {
		r.Quality = nil
	}
}

// cut copies the readings i … j-1; how old the estimate is counts from the first of them.
func cut(r *scan.Readings, i, j int) *scan.Readings {
	part := *r
	part.Clock, part.Amperes = r.From(i, j), slices.Clone(r.Amperes[i:j])
	if r.Quality != nil {
		part.Quality = slices.Clone(r.Quality[i:j])
	}
	if part.Age >= 0 {
		part.Age += r.At(i) - r.At(0)
	}
	settle(&part)
	return &part
}

// cutAll cuts each channel.
func cutAll(parts []*scan.Readings, i, j int) []*scan.Readings {
	var all []*scan.Readings
	for _, r := range parts {
		all = append(all, cut(r, i, j))
	}
	return all
}

// apply fuses readings and gives copies of what comes out, which must be what the package promises of any output.
func apply(t failer, s *fusion.Stage, parts ...*scan.Readings) (out []*scan.Readings) {
	t.Helper()
	for from := 0; from < parts[0].Len(); {
		var to scan.Readings
		next := s.Apply(parts, from, &to)
		if next <= from || to.Len() != next-from || to.Sequence != parts[0].Sequence+uint64(from) || to.At(0) != parts[0].At(from) {
			t.Fatalf("from %d to %d: %+v", from, next, to)
		}
		copied := to
		copied.Amperes, copied.Quality = slices.Clone(to.Amperes), slices.Clone(to.Quality)
		settle(&copied)
		if copied.Usable != to.Usable || copied.Minimum != to.Minimum || copied.Maximum != to.Maximum || copied.Causes != to.Causes ||
			(to.Quality == nil) != (copied.Causes == 0) {
			t.Fatalf("figures %+v, by its readings %+v", to, copied)
		}
		out = append(out, &copied)
		from = next
	}
	return out
}

// one fuses one scan. Channels that are NaN are missing.
func one(t failer, s *fusion.Stage, sequence uint64, amperes ...float64) *scan.Readings {
	t.Helper()
	var parts []*scan.Readings
	for _, y := range amperes {
		parts = append(parts, channel(sequence, y))
	}
	return apply(t, s, parts...)[0]
}

// weighed makes a stage in its first summary.
func weighed(parts ...fusion.Part) *fusion.Stage {
	s := fusion.New(len(parts), 0)
	s.Weigh(parts)
	return s
}

// weights finds out the weights of those of the channels that are used, and what a new stage states with them.
func weights(t failer, parts []fusion.Part, used uint) (w []float64, stated *scan.Readings) {
	t.Helper()
	for i := range parts {
		amperes := make([]float64, len(parts))
		for j := range amperes {
			if used>>j&1 == 0 {
				amperes[j] = nan
			}
		}
		if used>>i&1 == 0 {
			w = append(w, 0)
			continue
		}
		amperes[i] = 1
		stated = one(t, weighed(parts...), 0, amperes...)
		w = append(w, stated.Amperes[0])
	}
	return w, stated
}

// near compares with a tolerance relative to what is wanted, and as much absolutely.
func near(t failer, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*(1+math.Abs(want))) {
		t.Fatalf("%s: %v, want %v", what, got, want)
	}
}

// whole fuses parts that must come out in one piece.
func whole(t *testing.T, s *fusion.Stage, parts ...*scan.Readings) *scan.Readings {
	t.Helper()
	out := apply(t, s, parts...)
	if len(out) != 1 {
		t.Fatalf("%d outputs", len(out))
	}
	return out[0]
}
