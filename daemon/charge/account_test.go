package charge_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/scan"
)

// charges are out, in and net in whole coulombs, as tests state them.
type charges struct{ Out, In, Net, Throughput float64 }

func chargesOf(t charge.Totals) charges {
	const micro = 1e6
	return charges{
		float64(t.OutMicrocoulombs) / micro, float64(t.InMicrocoulombs) / micro, float64(t.Net()) / micro, float64(t.Throughput()) / micro,
	}
}

func TestChargeOfAFewReadings(t *testing.T) {
	inward := plain
	inward.ChargeIsPositive = true
	for name, test := range map[string]struct {
		config  charge.Config
		batches []*scan.Readings
		want    charges
		seconds int64
	}{
		"nothing":                         {plain, nil, charges{}, 0},
		"an empty batch":                  {plain, []*scan.Readings{regular(0, second)}, charges{}, 0},
		"one sample spans no time":        {plain, []*scan.Readings{regular(0, second, 5)}, charges{}, 0},
		"two samples, their mean":         {plain, []*scan.Readings{regular(0, second, 2, 4)}, charges{3, 0, 3, 3}, 1},
		"ends count half":                 {plain, []*scan.Readings{regular(0, second, 1, 10, 100)}, charges{60.5, 0, 60.5, 60.5}, 2},
		"each reading under its own sign": {plain, []*scan.Readings{regular(0, 2*second, 3, -1, 2)}, charges{5, 2, 3, 7}, 4},
		"positive may be charge":          {inward, []*scan.Readings{regular(0, 2*second, 3, -1, 2)}, charges{2, 5, -3, 7}, 4},
		"an unequal step":                 {plain, []*scan.Readings{at(0, []int64{0, second, 4 * second}, 1, 1, 3)}, charges{7, 0, 7, 7}, 4},
		"across batches":                  {plain, []*scan.Readings{regular(0, second, 2), regular(1, second, 4), regular(2, second, 6, 8)}, charges{15, 0, 15, 15}, 3},
		"means: the first over a period":  {plain, []*scan.Readings{averaged(regular(5, 2*second, 3, -1, 2))}, charges{10, 2, 8, 12}, 6},
		"means: no period, no first":      {plain, []*scan.Readings{averaged(at(0, []int64{0, second, 3 * second}, 99, -1, 2))}, charges{4, 1, 3, 5}, 3},
		"means across batches":            {plain, []*scan.Readings{averaged(regular(0, second, 2)), averaged(regular(1, second, 4, 6))}, charges{12, 0, 12, 12}, 3},
	} {
		t.Run(name, func(t *testing.T) {
			totals := count(t, test.config, test.batches...).Totals()
			if diff := cmp.Diff(test.want, chargesOf(totals)); diff != "" {
				t.Error("charge (-want +got):\n", diff)
			}
			if totals.DurationNanos != test.seconds*second {
				t.Errorf("duration %d ns, want %d s", totals.DurationNanos, test.seconds)
			}
			if totals.GapCount != 0 {
				t.Errorf("%d gaps where there are none", totals.GapCount)
			}
		})
	}
}

// What was subtracted comes back in the sign of net: adding it restores the reading as if nothing had been compensated.
func TestOffsetIsWhatNetWouldHaveReadBesides(t *testing.T) {
	for name, test := range map[string]struct {
		inward bool
		want   int64
	}{"positive is discharge": {false, 2_250_000}, "positive is charge": {true, -2_250_000}} {
		t.Run(name, func(t *testing.T) {
			config := plain
			config.ChargeIsPositive = test.inward
			first, second := regular(0, second, 1, 1, 1), regular(3, second, 1)
			first.Offset, second.Offset = 0.5, 2 // the interval between the batches counts half of either
			if got := count(t, config, first, second).Totals().OffsetMicrocoulombs; got != test.want {
				t.Errorf("offset %d µC, want %d", got, test.want)
			}
		})
	}
}

func TestTotalsSayWhatTheyCover(t *testing.T) {
	r := flagged(flagged(regular(7, second, 1, 1, 1, 1, 1), 0, scan.Missing), 4, scan.Saturated|scan.OutOfRange)
	r.Wall += 1000
	got := count(t, plain, r).Totals()
	want := charge.Totals{
		FirstSequence: 8, LastSequence: 10, FromWall: 8*second + 1000, ToWall: 10*second + 1000, FromMonotonic: 8 * second, ToMonotonic: 10 * second,
		DurationNanos: 2 * second, Readings: 3, OutMicrocoulombs: 2e6, SquareAmpereSeconds: 2,
	}
	want.Unusable[0], want.Unusable[2], want.Unusable[3] = 1, 1, 1
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error("totals (-want +got):\n", diff)
	}
	if early := count(t, plain, averaged(regular(7, second, 1))).Totals(); early.FromMonotonic != 6*second || early.FromWall != 6*second {
		t.Errorf("a mean begins at %d ns, want one period before its time", early.FromMonotonic)
	}
}

// What is wrong upstream may cost a reading, never the account.
func TestUnflaggedFaultsAreCountedAndSkipped(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(-1)
	for name, test := range map[string]struct {
		batches []*scan.Readings
		cause   int // place in scan.Causes
		gaps    uint64
	}{
		"NaN in a regular batch":      {[]*scan.Readings{regular(0, second, 1, 1, nan, 1, 1)}, 1, 1},
		"infinity in a regular batch": {[]*scan.Readings{regular(0, second, 1, 1, inf, 1, 1)}, 1, 1},
		"NaN at the edge of a batch":  {[]*scan.Readings{regular(0, second, 1, 1), regular(2, second, nan, 1, 1)}, 1, 1},
		"time repeated":               {[]*scan.Readings{at(0, []int64{0, second, second, 4 * second}, 1, 1, 99, 1)}, 4, 0},
		"time backwards":              {[]*scan.Readings{at(0, []int64{0, second, 0, 4 * second}, 1, 1, 99, 1)}, 5, 0},
		"backwards at the edge":       {[]*scan.Readings{at(0, []int64{0, second}, 1, 1), at(2, []int64{0, 4 * second}, 99, 1)}, 5, 0},
	} {
		t.Run(name, func(t *testing.T) {
			totals := count(t, plain, test.batches...).Totals()
			if totals.Net() != 4e6 || totals.GapCount != test.gaps || totals.Unusable[test.cause] != 1 {
				t.Errorf("net %d µC, %d gaps, unusable %v; want 4e6 µC, %d gaps, one %v",
					totals.Net(), totals.GapCount, totals.Unusable, test.gaps, scan.Causes[test.cause])
			}
		})
	}
}

// Entries post differences; they have to add up to the balance to the last microcoulomb, however odd the charges are, and follow on
// one another.
func TestDifferencesOfTotalsAddUpExactly(t *testing.T) {
	account := mustNew(t, plain)
	var sum, earlier charge.Totals
	for batch := range uint64(1000) {
		r := flagged(regular(5*batch, 1e7, math.Pi*1e-3, -math.E*1e-3, 99, 1e-4), 2, scan.Missing) // and one scan lost
		r.Offset, r.NoiseAmperes, r.ZeroAmperes = 1e-5, 1e-3, 1e-4
		account.Apply(r)
		now := account.Totals()
		sum = follow(t, sum, now.Since(earlier))
		earlier = now
	}
	total := account.Totals()
	if diff := cmp.Diff(total, sum, cmpopts.EquateApprox(1e-12, 0)); diff != "" {
		t.Error("sum of entries (-total +sum):\n", diff)
	}
	if diff := cmp.Diff(total, total.Since(charge.Totals{})); diff != "" {
		t.Error("since nothing (-want +got):\n", diff)
	}
}

// follow adds an entry to those before it.
func follow(t *testing.T, sum, entry charge.Totals) charge.Totals {
	t.Helper()
	if sum.Readings > 0 && (entry.FromMonotonic != sum.ToMonotonic || entry.FromWall != sum.ToWall || entry.FirstSequence != sum.LastSequence) {
		t.Fatalf("the entry from %d ns does not follow on the one to %d ns", entry.FromMonotonic, sum.ToMonotonic)
	}
	if sum.Readings > 0 {
		entry.FirstSequence, entry.FromWall, entry.FromMonotonic = sum.FirstSequence, sum.FromWall, sum.FromMonotonic
	}
	entry.DurationNanos += sum.DurationNanos
	entry.Readings += sum.Readings
	for i := range sum.Unusable {
		entry.Unusable[i] += sum.Unusable[i]
	}
	entry.Lost += sum.Lost
	entry.OutMicrocoulombs += sum.OutMicrocoulombs
	entry.InMicrocoulombs += sum.InMicrocoulombs
	entry.OffsetMicrocoulombs += sum.OffsetMicrocoulombs
	entry.SquareAmpereSeconds += sum.SquareAmpereSeconds
	entry.GapCount += sum.GapCount
	entry.GapNanos += sum.GapNanos
	entry.GapAssumedNetMicrocoulombs += sum.GapAssumedNetMicrocoulombs
	entry.GapBoundMicrocoulombs += sum.GapBoundMicrocoulombs
	entry.NoiseSquareCoulombs += sum.NoiseSquareCoulombs
	entry.ZeroCoulombs += sum.ZeroCoulombs
	return entry
}

// Before the first usable reading there is nothing to follow on, however much was refused.
func TestDifferenceFromBeforeTheFirstReading(t *testing.T) {
	account := count(t, plain, flagged(regular(3, second, 1), 0, scan.Missing))
	earlier := account.Totals()
	account.Apply(regular(4, second, 2, 2))
	got := account.Totals().Since(earlier)
	want := charge.Totals{
		FirstSequence: 4, LastSequence: 5, FromWall: 4 * second, ToWall: 5 * second, FromMonotonic: 4 * second, ToMonotonic: 5 * second,
		DurationNanos: second, Readings: 2, OutMicrocoulombs: 2e6, SquareAmpereSeconds: 4,
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error("difference (-want +got):\n", diff)
	}
}

func TestApplyDoesNotAllocate(t *testing.T) {
	long := make([]float64, 1000)
	for name, r := range map[string]*scan.Readings{
		"regular": regular(0, 1e6, long...), "irregular": irregular(regular(0, 1e6, long...)),
		"a gap in each batch, list full": flagged(regular(0, 1e6, long...), 500, scan.Saturated),
	} {
		t.Run(name, func(t *testing.T) {
			account := mustNew(t, plain)
			step := func() {
				account.Apply(r)
				r.Sequence, r.Monotonic = r.Sequence+1000, r.Monotonic+1000*1e6
			}
			for range 1000 {
				step()
			}
			if got := testing.AllocsPerRun(100, step); got != 0 {
				t.Errorf("%v allocations a batch", got)
			}
		})
	}
}
