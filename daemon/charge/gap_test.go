package charge_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/scan"
)

// told is a gap as tests state it.
type told struct {
	Before, After       uint64
	Seconds, Net, Bound float64
	Causes              string
}

func tell(gaps []charge.Gap) []told {
	var all []told
	for _, g := range gaps {
		all = append(all, told{
			g.BeforeSequence, g.AfterSequence, float64(g.DurationNanos) / 1e9,
			float64(g.AssumedNetMicrocoulombs) / 1e6, float64(g.BoundMicrocoulombs) / 1e6, strings.Join(g.Causes.Names(nil), "+"),
		})
	}
	return all
}

// restarted moves a batch into the next epoch: device time begins anew, the wall clock goes on.
func restarted(r *scan.Readings, wall int64) *scan.Readings {
	r.Epoch, r.Wall, r.Monotonic = r.Epoch+1, wall, 0
	return r
}

func seven() *scan.Readings { return regular(0, second, 1, 1, 1, 3, 3, 3, 3) }

// gapCase is what was read, the net charge it comes to and the gaps in it.
type gapCase struct {
	batches []*scan.Readings
	net     float64
	want    []told
}

func gapCases() map[string]gapCase {
	return map[string]gapCase{
		"none": {[]*scan.Readings{seven()}, 13, nil},
		"missing": {
			[]*scan.Readings{flagged(seven(), 3, scan.Missing)},
			12, []told{{2, 4, 2, 4, 200, "missing"}},
		},
		"saturated, so the bound is wider": {
			[]*scan.Readings{flagged(flagged(seven(), 3, scan.Saturated), 4, scan.Missing)},
			11, []told{{2, 5, 3, 6, 3000, "missing+saturated"}},
		},
		"out of range, so the bound is wider": {
			[]*scan.Readings{flagged(seven(), 1, scan.OutOfRange)},
			13, []told{{0, 2, 2, 2, 2000, "out of range"}},
		},
		"two in one batch": {
			[]*scan.Readings{flagged(flagged(seven(), 1, scan.NotFinite), 4, scan.AuxiliaryMissing)},
			13, []told{{0, 2, 2, 2, 200, "not finite"}, {3, 5, 2, 6, 200, "supply or temperature missing"}},
		},
		"across batches": {
			[]*scan.Readings{flagged(regular(0, second, 1, 1), 1, scan.Missing), flagged(regular(2, second, 1, 3), 0, scan.Missing)},
			6, []told{{0, 3, 3, 6, 300, "missing"}},
		},
		"a whole batch": {
			[]*scan.Readings{regular(0, second, 1), flagged(regular(1, second, 1), 0, scan.Missing), regular(2, second, 3)},
			4, []told{{0, 2, 2, 4, 200, "missing"}},
		},
		"at the beginning there is no interval": {[]*scan.Readings{flagged(seven(), 0, scan.Saturated)}, 12, nil},
		"at the end there is none yet":          {[]*scan.Readings{flagged(seven(), 6, scan.Saturated)}, 10, nil},
		"lost scans": {
			[]*scan.Readings{regular(0, second, 1, 1), regular(5, second, 3, 3)},
			12, []told{{1, 5, 4, 8, 400, "lost"}},
		},
		"lost and missing": {
			[]*scan.Readings{regular(0, second, 1, 1), flagged(regular(5, second, 3, 3), 0, scan.Missing)},
			11, []told{{1, 6, 5, 10, 500, "lost+missing"}},
		},
		"a sequence that goes back is no loss": {[]*scan.Readings{regular(5, second, 1, 1), at(3, []int64{7 * second}, 1)}, 2, nil},
		"silence": {
			[]*scan.Readings{at(0, []int64{0, 10 * second, 20*second + 1}, 1, 1, 1)},
			20, []told{{1, 2, 10.000000001, 10, 1000, "silence"}},
		},
		"silence in every regular interval": {
			[]*scan.Readings{regular(0, 11*second, 1, 1, 1)},
			22, []told{{0, 1, 11, 11, 1100, "silence"}, {1, 2, 11, 11, 1100, "silence"}},
		},
		"a straight line, also through means": {
			[]*scan.Readings{averaged(flagged(regular(0, second, 1, 1, 99, 3, 3), 2, scan.Missing))},
			9, []told{{1, 3, 2, 4, 200, "missing"}},
		},
		"a repeated time hides nothing": {
			[]*scan.Readings{flagged(at(0, []int64{0, second, second, 2 * second}, 1, 1, 99, 1), 2, scan.TimeRepeated)}, 2, nil,
		},
		"a backward time hides nothing": {
			[]*scan.Readings{flagged(at(0, []int64{0, second, 0, 2 * second}, 1, 1, 99, 1), 2, scan.TimeBackwards)}, 2, nil,
		},
		"a repeated time in a long interval": {
			[]*scan.Readings{flagged(at(0, []int64{0, 0, 20 * second}, 1, 99, 1), 1, scan.TimeRepeated)},
			20, []told{{0, 2, 20, 20, 2000, "silence+time repeated"}},
		},
		"restart: wall time counts": {
			[]*scan.Readings{regular(0, second, 1, 1), restarted(regular(2, second, 3, 3), 6*second)},
			14, []told{{1, 2, 5, 10, 500, "restart"}},
		},
		"restart after a long time": {
			[]*scan.Readings{regular(0, second, 1, 1), restarted(regular(2, second, 1), 61*second)},
			61, []told{{1, 2, 60, 60, 6000, "silence+restart"}},
		},
		"restart with the wall clock put back": {
			[]*scan.Readings{regular(0, second, 1, 1), restarted(regular(2, second, 3, 3), -6*second)},
			4, []told{{1, 2, 0, 0, 0, "restart"}},
		},
		"restart with nothing usable at first": {
			[]*scan.Readings{regular(0, second, 1, 1), flagged(restarted(regular(2, second, 3, 3), 6*second), 0, scan.Missing)},
			13, []told{{1, 3, 6, 12, 600, "restart+missing"}},
		},
	}
}

func TestGaps(t *testing.T) {
	for name, test := range gapCases() {
		t.Run(name, func(t *testing.T) {
			account := count(t, plain, test.batches...)
			if diff := cmp.Diff(test.want, tell(account.LongestGaps())); diff != "" {
				t.Error("gaps (-want +got):\n", diff)
			}
			if got := chargesOf(account.Totals()).Net; got != test.net {
				t.Errorf("net %v C, want %v", got, test.net)
			}
			checkGapTotals(t, account)
		})
	}
}

// checkGapTotals compares the sums with the list, as long as the list is complete.
func checkGapTotals(t *testing.T, account *charge.Account) {
	t.Helper()
	var want, got charge.Totals
	for _, g := range account.LongestGaps() {
		want.GapCount++
		want.GapNanos += g.DurationNanos
		want.GapAssumedNetMicrocoulombs += g.AssumedNetMicrocoulombs
		want.GapBoundMicrocoulombs += g.BoundMicrocoulombs
	}
	all := account.Totals()
	got.GapCount, got.GapNanos = all.GapCount, all.GapNanos
	got.GapAssumedNetMicrocoulombs, got.GapBoundMicrocoulombs = all.GapAssumedNetMicrocoulombs, all.GapBoundMicrocoulombs
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error("sums of the gaps (-list +totals):\n", diff)
	}
}

func TestGapIsCountedInTheSignOfNet(t *testing.T) {
	config := plain
	config.ChargeIsPositive = true
	account := count(t, config, flagged(regular(0, second, 3, 99, -1), 1, scan.Missing))
	want := []told{{0, 2, 2, -2, 200, "missing"}}
	if diff := cmp.Diff(want, tell(account.LongestGaps())); diff != "" {
		t.Error("gaps (-want +got):\n", diff)
	}
	if diff := cmp.Diff(charges{1, 3, -2, 4}, chargesOf(account.Totals())); diff != "" {
		t.Error("charge (-want +got):\n", diff)
	}
}

func TestLostScansAreCountedAlsoWhereThereIsNoInterval(t *testing.T) {
	account := count(t, plain, flagged(regular(10, second, 1), 0, scan.Missing), regular(20, second, 1), regular(23, second, 1))
	if got := account.Totals(); got.Lost != 11 || got.GapCount != 1 {
		t.Errorf("%d lost in %d gaps, want 11 of which 2 in the one gap", got.Lost, got.GapCount)
	}
}

// Of more than a thousand gaps the longest stay, of equally long ones the earliest; the sums know all of them.
func TestOnlyTheLongestGapsAreListed(t *testing.T) {
	account := mustNew(t, plain)
	var now int64
	const all = 3000
	for k := range uint64(all) {
		now += 20 * second
		if k%3 == 0 {
			now += second // one in three is longer
		}
		account.Apply(at(k, []int64{now}, 1))
	}
	gaps := account.LongestGaps()
	if len(gaps) != 1000 {
		t.Fatalf("%d gaps listed, want 1000", len(gaps))
	}
	longer := 0
	for i, g := range gaps {
		if i > 0 && g.BeforeSequence <= gaps[i-1].BeforeSequence {
			t.Fatalf("gap after %d is listed behind the one after %d", g.BeforeSequence, gaps[i-1].BeforeSequence)
		}
		if g.DurationNanos == 21*second {
			longer++
		}
	}
	// 999 longer ones, since the first reading has no interval before it, and the earliest of the others.
	if longer != 999 || gaps[0].BeforeSequence != 0 || gaps[0].DurationNanos != 20*second {
		t.Errorf("%d longer gaps and first %+v, want 999 and the earliest of the shorter", longer, gaps[0])
	}
	if got := account.Totals().GapCount; got != all-1 {
		t.Errorf("%d gaps counted, want %d", got, all-1)
	}
}

// TestTheTimeSinceAnAccountBeforeIsAGap opens an account that follows on another: of the time between nothing is known but the bound.
func TestTheTimeSinceAnAccountBeforeIsAGap(t *testing.T) {
	for name, c := range map[string]struct {
		wall    int64 // where the account before ended; the first reading is at 100 s
		batch   *scan.Readings
		seconds float64
		causes  string
	}{
		"a minute":                {41 * second, regular(100, second, 5, 5), 59, "restart"},
		"no time":                 {100 * second, regular(100, second, 5, 5), 0, "restart"},
		"the wall clock set back": {160 * second, regular(100, second, 5, 5), 0, "restart"},
		"nothing usable at first": {42 * second, flagged(regular(100, second, 9, 5, 5), 0, scan.Missing), 59, "restart+missing"},
	} {
		t.Run(name, func(t *testing.T) {
			config := plain
			config.After = &charge.After{Sequence: 41, Wall: c.wall}
			totals := count(t, config, c.batch).Totals()
			gap := count(t, config, c.batch).LongestGaps()[0]
			if gap.BeforeSequence != 41 || gap.DurationNanos != int64(c.seconds*1e9) || strings.Join(gap.Causes.Names(nil), "+") != c.causes {
				t.Errorf("gap %+v (%v), want %g s after sequence 41, %s", gap, gap.Causes.Names(nil), c.seconds, c.causes)
			}
			if gap.AssumedNetMicrocoulombs != 0 || gap.BoundMicrocoulombs != int64(c.seconds*1e6*config.BoundAmperes) {
				t.Errorf("assumed %d µC, bound %d µC", gap.AssumedNetMicrocoulombs, gap.BoundMicrocoulombs)
			}
			if totals.Net() != 5e6 || totals.DurationNanos != int64((c.seconds+1)*1e9) || totals.GapCount != 1 {
				t.Errorf("totals %+v, want 5 C in a second and one gap of %g s", totals, c.seconds)
			}
		})
	}
}
