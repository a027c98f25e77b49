package charge_test

import (
	"testing"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/scan"
)

// second is in nanoseconds.
const second = int64(1e9)

// plain counts gaps longer than 10 s, bounded by 100 A, or 1000 A where something was saturated.
var plain = charge.Config{GapNanos: 10 * second, BoundAmperes: 100, SaturatedBoundAmperes: 1000}

// mustNew gives an account that has to be possible.
func mustNew(t testing.TB, config charge.Config) *charge.Account {
	t.Helper()
	account, err := charge.New(config)
	if err != nil {
		t.Fatal(err)
	}
	return account
}

// count feeds batches to a new account.
func count(t testing.TB, config charge.Config, batches ...*scan.Readings) *charge.Account {
	t.Helper()
	account := mustNew(t, config)
	for _, r := range batches {
		account.Apply(r)
	}
	return account
}

// regular makes a batch of good readings, one each period, from the given sequence on; its time says sequence times period.
func regular(sequence uint64, period int64, amperes ...float64) *scan.Readings {
	start := int64(sequence) * period
	return &scan.Readings{
		Clock:   scan.Clock{Sequence: sequence, Wall: start, Monotonic: start, Period: period},
		Amperes: amperes, Usable: len(amperes),
	}
}

// at makes a batch of good readings at given times.
func at(sequence uint64, nanos []int64, amperes ...float64) *scan.Readings {
	return &scan.Readings{
		Clock:   scan.Clock{Sequence: sequence, Offsets: nanos},
		Amperes: amperes, Usable: len(amperes),
	}
}

// irregular says the times of a regular batch one by one.
func irregular(r *scan.Readings) *scan.Readings {
	same := *r
	same.Period, same.Offsets = 0, make([]int64, r.Len())
	for k := range same.Offsets {
		same.Offsets[k] = int64(k) * r.Period
	}
	return &same
}

// averaged makes the readings means over the interval that ends at their time.
func averaged(r *scan.Readings) *scan.Readings {
	r.Averaged = true
	return r
}

// flagged sets the quality of reading k.
func flagged(r *scan.Readings, k int, quality scan.Quality) *scan.Readings {
	if r.Quality == nil {
		r.Quality = make([]scan.Quality, r.Len())
	}
	if r.Quality[k] == 0 {
		r.Usable--
	}
	r.Quality[k] |= quality
	r.Causes |= quality
	return r
}

// cut gives readings i … j-1 of a batch, as a driver that cuts its frames otherwise would.
func cut(r *scan.Readings, i, j int) *scan.Readings {
	part := *r
	part.Clock = r.From(i, j)
	part.Amperes, part.Usable = r.Amperes[i:j], j-i
	if r.Quality != nil {
		part.Quality = nil
		part.Causes = 0
		for k, quality := range r.Quality[i:j] {
			if quality != 0 {
				flagged(&part, k, quality)
			}
		}
	}
	return &part
}
