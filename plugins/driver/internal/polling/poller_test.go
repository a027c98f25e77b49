package polling

import (
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/plugin"
)

var errEnough = errors.New("enough")

// script is a source whose readings take a time each, in a bubble's clock; one that takes none is missing.
type script struct {
	begun time.Time
	takes []time.Duration
	turn  int
	fault error // after the last
}

func (s *script) now() (int64, error) { return 1e9 + int64(time.Since(s.begun)), nil }

func (s *script) Take(columns []*plugin.Column, scan int) (read Span, taken bool, err error) {
	if s.turn == len(s.takes) {
		columns[0].Values = append(columns[0].Values, -1)
		return read, false, s.fault
	}
	read.From, _ = s.now()
	<-time.After(s.takes[s.turn])
	read.To, _ = s.now()
	columns[0].Values = append(columns[0].Values, float64(s.turn))
	if s.turn%2 == 1 {
		columns[0].AbsentIndices = append(columns[0].AbsentIndices, uint32(scan))
	}
	taken = s.takes[s.turn] > 0
	s.turn++
	return read, taken, nil
}

// TestScansStandInTheMiddleOfTheirReading polls at 100 Hz, ten scans a frame. The longest readings of the frames, of 4, 25 and 2 ms, have a
// standard deviation of that over √12.
func TestScansStandInTheMiddleOfTheirReading(t *testing.T) {
	const ms = time.Millisecond
	synctest.Test(t, func(t *testing.T) {
		s := &script{begun: time.Now(), takes: []time.Duration{2 * ms, 4 * ms, 0, 1 * ms, 25 * ms, 2 * ms}, fault: errors.New("gone")}
		var got []*plugin.Frame
		err := New(s, 1, 100, s.now, func(f *plugin.Frame) error {
			got = append(got, proto.CloneOf(f))
			return nil
		}).Run(t.Context())
		if !errors.Is(err, s.fault) {
			t.Error(err)
		}
		wall := s.begun.UnixNano()
		want := []*plugin.Frame{
			{FirstSequence: 0, FirstMonotonicNanos: 1e9 + 1e6, FirstWallNanos: wall + 1e6, OffsetNanos: []int64{0, 11e6}, ScanCount: 2, TimeUncertaintyNanos: 1154701,
				Columns: []*plugin.Column{{Values: []float64{0, 1}, AbsentIndices: []uint32{1}}}},
			{FirstSequence: 3, FirstMonotonicNanos: 1e9 + 30.5e6, FirstWallNanos: wall + 30.5e6, OffsetNanos: []int64{0, 22e6}, ScanCount: 2, TimeUncertaintyNanos: 7216879,
				Columns: []*plugin.Column{{Values: []float64{3, 4}, AbsentIndices: []uint32{0}}}},
			{FirstSequence: 6, FirstMonotonicNanos: 1e9 + 66e6, FirstWallNanos: wall + 66e6, OffsetNanos: []int64{0}, ScanCount: 1, TimeUncertaintyNanos: 577351,
				Columns: []*plugin.Column{{Values: []float64{5}, AbsentIndices: []uint32{0}}}},
		}
		if !slices.EqualFunc(got, want, func(a, b *plugin.Frame) bool { return proto.Equal(a, b) }) {
			t.Errorf("frames\n%v\nwant\n%v", got, want)
		}
	})
}

func TestPollingEndsWithEmit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &script{begun: time.Now(), takes: slices.Repeat([]time.Duration{time.Millisecond}, 100)}
		scans := 0
		err := New(s, 1, 20, s.now, func(f *plugin.Frame) error {
			scans += int(f.ScanCount)
			return errEnough
		}).Run(t.Context())
		if !errors.Is(err, errEnough) || scans != 2 {
			t.Errorf("%d scans, %v", scans, err)
		}
	})
}

// constant is a source that gives one value at once.
type constant struct{}

func (constant) Take(columns []*plugin.Column, _ int) (Span, bool, error) {
	columns[0].Values = append(columns[0].Values, 1)
	return Span{1, 3}, true, nil
}

func TestPollerAllocatesNothing(t *testing.T) {
	var clock int64
	p := New(constant{}, 1, 1000, func() (int64, error) { clock += 1e6; return clock, nil }, func(*plugin.Frame) error { return nil })
	step := func() {
		if _, err := p.step(); err != nil {
			t.Fatal(err)
		}
	}
	for range 2 * p.most {
		step()
	}
	if allocs := testing.AllocsPerRun(1000, step); allocs != 0 {
		t.Errorf("%v allocations a scan", allocs)
	}
}

func TestClockThatFailsEndsThePolling(t *testing.T) {
	broken := errors.New("no clock")
	err := New(constant{}, 1, 1, func() (int64, error) { return 0, broken }, nil).Run(t.Context())
	if !errors.Is(err, broken) {
		t.Error(err)
	}
}
