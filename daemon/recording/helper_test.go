package recording

import (
	"context"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
	"github.com/ampledger/ampledger/plugins/plugin"
)

func head() *recorded.Head {
	return &recorded.Head{Device: "adc_0", Description: &plugin.Description{NominalRateHertz: 1000, Inputs: []*plugin.Input{
		{Name: "shunt_code", Unit: "code", MinimumCode: -32768, MaximumCode: 32767, CodeRangeKnown: true, VoltsPerCode: 1e-6},
		{Name: "hall, V", Unit: "V", Averaging: true},
		{Name: "t °C", Unit: "Cel"},
	}}}
}

// source gives frames as a device would: gaps, jitter, absent values, a value for a whole frame, a second epoch.
type source struct {
	random    *rand.Rand
	sequence  uint64
	monotonic int64
	epoch     uint64
	frame     scan.Frame
}

func newSource(seed uint64) *source {
	return &source{random: rand.New(rand.NewPCG(seed, 1)), sequence: 1 << 40, monotonic: -5e9, epoch: 7 << 20}
}

const wallStart = 1_900_000_000_123_456_789

// next gives a frame of count scans, whose memory is used again for the one after it.
func (s *source) next(count int) *scan.Frame {
	f := &s.frame
	if s.random.IntN(5) == 0 {
		s.sequence += s.random.Uint64N(1000)
	}
	if s.random.IntN(20) == 0 {
		s.epoch, s.monotonic = s.epoch+1, s.random.Int64N(1e9)
	}
	f.Clock = scan.Clock{Epoch: s.epoch, Sequence: s.sequence, Wall: wallStart + int64(s.sequence)*1e6 + s.random.Int64N(1e9), Monotonic: s.monotonic, Period: 1e6}
	f.Count, f.Flags = count, nil
	if s.random.IntN(2) == 0 {
		f.Uncertainty = s.random.Int64N(1e7)
	}
	if s.random.IntN(3) == 0 {
		f.Period, f.Offsets = 0, make([]int64, count)
		for k := range f.Offsets {
			f.Offsets[k] = int64(k) * s.random.Int64N(2e6)
		}
		f.Flags = make([]scan.Quality, count)
		f.Flags[count/2] = scan.TimeBackwards
	}
	f.Columns = []scan.Column{s.codes(count), s.numbers(count), {Values: []float64{20.5 + float64(s.random.IntN(3))}}}
	s.sequence += uint64(count)
	s.monotonic += int64(count) * 1e6
	return f
}

func (s *source) codes(count int) (c scan.Column) {
	for range count {
		c.Values = append(c.Values, float64(s.random.IntN(1<<16)-1<<15))
	}
	return c
}

func (s *source) numbers(count int) (c scan.Column) {
	special := []float64{math.NaN(), math.Float64frombits(0x7ff8_dead_beef_0001), math.Inf(-1), math.Copysign(0, -1), 5e-324}
	for range count {
		c.Values = append(c.Values, s.random.NormFloat64())
	}
	c.Values[s.random.IntN(count)] = special[s.random.IntN(len(special))]
	if s.random.IntN(2) == 0 {
		c.Flags = make([]scan.Quality, count)
		c.Flags[s.random.IntN(count)] = []scan.Quality{scan.Missing, scan.Saturated}[s.random.IntN(2)]
	}
	return c
}

// row is one scan, taken out of frames or out of a file.
type row struct {
	Sequence, Monotonic, Wall, Epoch, Uncertainty int64
	Flags                                         int32
	Bits                                          [3]uint64 // of the inputs' values; absent ones, with whatever fault, are 0
	Absent                                        [3]bool
}

// rowsOf takes a frame apart.
func rowsOf(f *scan.Frame) (all []row) {
	for k := range f.Count {
		one := row{Sequence: int64(f.Sequence) + int64(k), Monotonic: f.At(k), Wall: f.WallAt(k), Epoch: int64(f.Epoch), Uncertainty: f.Uncertainty}
		if f.Flags != nil {
			one.Flags = int32(f.Flags[k])
		}
		for i := range f.Columns {
			if one.Absent[i] = f.Columns[i].FlagAt(k) != 0; !one.Absent[i] {
				one.Bits[i] = math.Float64bits(f.Columns[i].At(k))
			}
		}
		all = append(all, one)
	}
	return all
}

// rig is a recorder at work.
type rig struct {
	*Recorder
	end   context.CancelFunc
	ended chan error
}

// start runs a recorder, which is ended at the end of the test.
func start(t *testing.T, settings Settings, told Told) *rig {
	t.Helper()
	recorder, err := New(settings, told)
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(context.Background())
	r := &rig{recorder, end, make(chan error, 1)}
	go func() { r.ended <- recorder.Run(ctx) }()
	t.Cleanup(end)
	return r
}

// stop ends it and gives the error of the end.
func (r *rig) stop() error {
	r.end()
	return <-r.ended
}

func (r *rig) track(t *testing.T) *Track {
	t.Helper()
	track, err := r.Track(head())
	if err != nil {
		t.Fatal(err)
	}
	return track
}

// files gives the names in a folder that match.
func files(t *testing.T, folder, pattern string) []string {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(folder, pattern))
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(all)
	return all
}

// quiet is settings under which nothing happens by itself within a test.
func quiet(folder string) Settings {
	return Settings{Folder: folder, RowGroup: time.Hour, RotateAfter: 2 * time.Hour}
}
