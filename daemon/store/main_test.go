package store_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"testing"

	"go.uber.org/goleak"

	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestMain lets the test binary be the child that is killed, or the one that locks; else it checks that no goroutine is left.
func TestMain(m *testing.M) {
	if path := os.Getenv(childVariable); path != "" {
		fmt.Fprintln(os.Stderr, child(path))
		os.Exit(1)
	}
	if path := os.Getenv(lockVariable); path != "" {
		fmt.Fprintln(os.Stderr, lock(path))
		os.Exit(1)
	}
	if err := flag.Set("rapid.checks", "20"); err != nil { // unless the command line says more
		panic(err)
	}
	goleak.VerifyTestMain(m)
}

// entry gives a valid entry of one minute, the n-th of its channel.
func entry(conductor, channel string, n int) store.Entry {
	first, nanos := uint64(n)*600, int64(60e9)
	return store.Entry{
		Conductor: conductor, Channel: channel, Kind: store.Interval, Device: "adc0", Epoch: 1, FirstSequence: first, LastSequence: first + 599,
		FromWallNanos: 1e18 + int64(n)*nanos, ToWallNanos: 1e18 + int64(n+1)*nanos,
		FromMonotonicNanos: int64(n) * nanos, ToMonotonicNanos: int64(n+1) * nanos,
		Totals: store.Totals{
			DurationNanos: nanos, OutMicrocoulombs: 6e8 + int64(n), InMicrocoulombs: 1e8, OffsetMicrocoulombs: -3e6,
			SquareAmpereSeconds: 6000, ReadingCount: 580,
			Unusable: store.Unusable{
				Missing: 1, NotFinite: 2, Saturated: 3, OutOfRange: 4, TimeRepeated: 5, TimeBackwards: 6, AuxiliaryMissing: 7, Lost: 8,
			},
			GapCount: 3, GapNanos: 2e9, GapAssumedMicrocoulombs: -5, GapBoundMicrocoulombs: 7e6,
			NoiseSquareCoulombs: 0.25, ZeroCoulombs: 0.5,
		},
		GainRatio: 1e-3, Estimator: "biasfilter", Generation: 2, Reason: "interval",
	}
}

// gap gives a valid gap.
func gap(nanos int64, causes ...string) store.Gap {
	return store.Gap{
		BeforeSequence: 17, AfterSequence: 23, FromWallNanos: 1e18 + 5, FromMonotonicNanos: 5, DurationNanos: nanos,
		AssumedNetMicrocoulombs: -5, BoundMicrocoulombs: 99, Causes: causes,
	}
}

// event gives a valid change of an event.
func event(id, conductor string) *ampledgerv1.Event {
	return &ampledgerv1.Event{
		EventId: id, State: ampledgerv1.EventState_EVENT_STATE_OPERATED, Conductor: conductor, Channel: "shunt", Element: "short-circuit",
		Kind: "instantaneous", OnsetSequence: 5, ChangeSequence: 7, ChangeWallNanos: 1e18, PeakAmperes: -1700.5, Detail: "Ω",
	}
}

// append1 stores one entry and gives its place.
func append1(t testing.TB, s *store.Store, entry store.Entry, gaps ...store.Gap) uint64 {
	t.Helper()
	at, err := s.Append(context.Background(), store.Batch{Postings: []store.Posting{{Entry: entry, Gaps: gaps}}})
	if err != nil {
		t.Fatal(err)
	}
	return at.Entries[0]
}

// must fails the test on an error.
func must[V any](value V, err error) func(testing.TB) V {
	return func(t testing.TB) V {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return value
	}
}
