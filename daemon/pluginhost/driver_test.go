//go:build unix

package pluginhost_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
)

func TestGoodDriver(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	d := startDriver(t, host, "good", with{"frames": "fine"})
	if got := d.Description.GetInputs()[1].GetName(); got != "c" {
		t.Errorf("second input %q", got)
	}
	s := open(t, d)
	var f scan.Frame
	if err := s.Next(&f); err != nil {
		t.Fatal(err)
	}
	want := scan.Frame{
		Clock: scan.Clock{Sequence: 5, Wall: 1e18, Monotonic: 5e8, Period: 1e8}, Count: 3,
		Columns: []scan.Column{{Values: []float64{5, 6, 7}}, {Values: []float64{0, -1, -2}, Flags: []scan.Quality{0, scan.Missing, 0}}},
	}
	if diff := cmp.Diff(want, f); diff != "" {
		t.Error("(-want +got):\n", diff)
	}
	if err := s.Next(&f); err != nil {
		t.Fatal(err)
	}
	want = scan.Frame{
		Clock: scan.Clock{Sequence: 1000, Wall: 1e18, Monotonic: 1e11, Offsets: []int64{0, 5}}, Count: 2,
		Columns: []scan.Column{{Values: []float64{9}, Flags: []scan.Quality{scan.Missing}}, {Values: []float64{math.NaN(), math.Inf(-1)}}},
	}
	if diff := cmp.Diff(want, f, cmpopts.EquateNaNs()); diff != "" {
		t.Error("irregular, after a jump (-want +got):\n", diff)
	}
	for range 2 {
		if err := s.Next(&f); !errors.Is(err, io.EOF) {
			t.Errorf("at the end: %v, want EOF", err)
		}
	}
}

// some is a number of frames that is not certain: those on the way when a process ends are lost.
const some = -1

// row is one way to lie in a frame: how many frames pass, and the error after them without its beginning.
type row struct {
	tell func(ctx context.Context, emit func(*plugin.Frame) error) error
	good int
	want string
}

// changed tells a good frame of sequences 0…4, then one from 5 that was changed.
func changed(good int, want string, n int, change func(f *plugin.Frame)) row {
	return row{func(ctx context.Context, emit func(*plugin.Frame) error) error {
		if err := emit(frame(0, 5)); err != nil {
			return err
		}
		f := frame(5, n)
		change(f)
		return emit(f)
	}, good, want}
}

func after(then func() error) func(context.Context, func(*plugin.Frame) error) error {
	return func(_ context.Context, emit func(*plugin.Frame) error) error {
		if err := emit(frame(0, 1)); err != nil {
			return err
		}
		return then()
	}
}

const largest = math.MaxInt64

var lies = map[string]row{
	"": {},
	"fine": {func(_ context.Context, emit func(*plugin.Frame) error) error {
		f := frame(5, 3)
		f.Columns[1].AbsentIndices = []uint32{1}
		g := frame(1000, 2)
		g.PeriodNanos, g.OffsetNanos = 0, []int64{0, 5}
		g.Columns[0] = &plugin.Column{Values: []float64{9}, AbsentIndices: []uint32{0}}
		g.Columns[1] = &plugin.Column{Values: []float64{math.NaN(), math.Inf(-1)}}
		return errors.Join(emit(f), emit(g))
	}, 2, "EOF"},

	"not a number is passed on": changed(2, "EOF", 2, func(f *plugin.Frame) { f.Columns[0].Values[1] = math.NaN() }),
	"a jump is passed on":       changed(2, "EOF", 2, func(f *plugin.Frame) { f.FirstSequence = 1 << 40 }),
	"the last sequence there is": changed(2, "EOF", 2, func(f *plugin.Frame) {
		f.FirstSequence = largest
	}),
	"the latest times there are": changed(2, "EOF", 2, func(f *plugin.Frame) {
		f.FirstMonotonicNanos, f.FirstWallNanos, f.PeriodNanos = largest/4, largest/2, largest/4
	}),
	"one value for all":    changed(2, "EOF", 2, func(f *plugin.Frame) { f.Columns[0].Values = []float64{3} }),
	"as long as it may be": changed(2, "EOF", 65536, func(*plugin.Frame) {}),

	"too few columns":      changed(1, "frame at sequence 5: has 1 columns for 2 inputs", 2, func(f *plugin.Frame) { f.Columns = f.Columns[:1] }),
	"no columns":           changed(1, "frame at sequence 5: has 0 columns for 2 inputs", 2, func(f *plugin.Frame) { f.Columns = nil }),
	"too many columns":     changed(1, "frame at sequence 5: has 3 columns for 2 inputs", 2, func(f *plugin.Frame) { f.Columns = append(f.Columns, f.Columns[0]) }),
	"codes and values":     changed(1, `frame at sequence 5: input "c": has both codes and values`, 2, func(f *plugin.Frame) { f.Columns[1].Values = []float64{1, 2} }),
	"too few values":       changed(1, `frame at sequence 5: input "a": has 2 values for 3 scans`, 3, func(f *plugin.Frame) { f.Columns[0].Values = f.Columns[0].Values[:2] }),
	"too many codes":       changed(1, `frame at sequence 5: input "c": has 4 values for 3 scans`, 3, func(f *plugin.Frame) { f.Columns[1].Codes = make([]int32, 4) }),
	"an empty column":      changed(1, `frame at sequence 5: input "a": has 0 values for 1 scans`, 1, func(f *plugin.Frame) { f.Columns[0].Values = nil }),
	"no scans":             changed(1, "frame at sequence 5: holds 0 scans, 1 to 65536 are allowed", 0, func(*plugin.Frame) {}),
	"nothing in it":        {func(_ context.Context, emit func(*plugin.Frame) error) error { return emit(nil) }, 0, "frame at sequence 0: holds 0 scans, 1 to 65536 are allowed"},
	"too long":             changed(1, "frame at sequence 5: holds 65537 scans, 1 to 65536 are allowed", 65537, func(*plugin.Frame) {}),
	"more than it holds":   changed(1, "frame at sequence 5: holds 4294967295 scans, 1 to 65536 are allowed", 1, func(f *plugin.Frame) { f.ScanCount = math.MaxUint32 }),
	"backwards":            changed(1, "frame at sequence 4: runs backwards: sequence 5 was due", 2, func(f *plugin.Frame) { f.FirstSequence = 4 }),
	"beyond all sequences": changed(1, "frame at sequence 9223372036854775808: sequence is beyond 2^63", 2, func(f *plugin.Frame) { f.FirstSequence = 1 << 63 }),
	"a negative period":    changed(1, "frame at sequence 5: period is negative", 2, func(f *plugin.Frame) { f.PeriodNanos = -1 }),
	"an endless period":    changed(1, "frame at sequence 5: period is too long", 2, func(f *plugin.Frame) { f.PeriodNanos = largest/4 + 1 }),
	"no times":             changed(1, "frame at sequence 5: has 0 time offsets for 2 scans", 2, func(f *plugin.Frame) { f.PeriodNanos = 0 }),
	"too many times":       changed(1, "frame at sequence 5: has 3 time offsets for 2 scans", 2, func(f *plugin.Frame) { f.PeriodNanos, f.OffsetNanos = 0, []int64{0, 1, 2} }),
	"two kinds of time":    changed(1, "frame at sequence 5: has both a period and time offsets", 2, func(f *plugin.Frame) { f.OffsetNanos = []int64{0, 1} }),
	"a far offset":         changed(1, "frame at sequence 5: time offset is out of range", 2, func(f *plugin.Frame) { f.PeriodNanos, f.OffsetNanos = 0, []int64{0, math.MinInt64} }),
	"a far time":           changed(1, "frame at sequence 5: time is out of range", 2, func(f *plugin.Frame) { f.FirstMonotonicNanos = math.MinInt64 }),
	"a far wall time":      changed(1, "frame at sequence 5: time is out of range", 2, func(f *plugin.Frame) { f.FirstWallNanos = largest }),
	"absent beyond":        changed(1, `frame at sequence 5: input "c": absent index 2 is beyond its 2 values`, 2, func(f *plugin.Frame) { f.Columns[1].AbsentIndices = []uint32{0, 2} }),
	"absent far beyond":    changed(1, `frame at sequence 5: input "a": absent index 4294967295 is beyond its 2 values`, 2, func(f *plugin.Frame) { f.Columns[0].AbsentIndices = []uint32{math.MaxUint32} }),
	"absent all the while": changed(1, `frame at sequence 5: input "a": absent index 1 is beyond its 1 values`, 2, func(f *plugin.Frame) {
		f.Columns[0] = &plugin.Column{Values: []float64{1}, AbsentIndices: []uint32{1}}
	}),
	"over the limit of a message": changed(1, "trying to send message larger than max (67108911 vs. 67108864)", 2, func(f *plugin.Frame) {
		f.Columns[0].Values = make([]float64, plugin.MaxMessageBytes/8)
	}),

	"its device fails": {after(func() error { return errors.New("bus reset") }), 1, "bus reset"},
	"it exits":         {after(func() error { fmt.Fprintln(os.Stderr, "bus gone"); os.Exit(4); return nil }), some, "process ended (exit status 4): bus gone"},
	"it exits well":    {after(func() error { os.Exit(0); return nil }), some, "process ended (exit status 0)"},
	"it panics":        {after(func() error { panic("index out of range") }), some, "process ended (exit status 2): panic: index out of range"},
}

func TestLies(t *testing.T) {
	t.Parallel()
	for name, c := range lies {
		if name == "" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			host, _ := newHost(t)
			s := open(t, startDriver(t, host, "liar", with{"frames": name}))
			var f scan.Frame
			for range max(c.good, 0) {
				if err := s.Next(&f); err != nil {
					t.Fatal(err)
				}
			}
			for c.good == some && s.Next(&f) == nil {
			}
			want := "driver liar: " + c.want
			if c.want == "EOF" {
				want = "EOF"
			}
			wantError(t, s.Next(&f), want)
			wantError(t, s.Next(&f), want) // it stays over
		})
	}
}

func TestFrameOverTheLimitOfAMessage(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	s := open(t, startDriver(t, host, "generous", nil))
	wantError(t, s.Next(new(scan.Frame)), "driver generous: grpc: received message larger than max (67108876 vs. 67108864)")
}

// The longest frame of 64 columns of doubles is within the limit of a message.
func TestLargestFramePasses(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	s := open(t, startDriver(t, host, "fast", with{"scans": 65536, "inputs": 64, "frames": 2}))
	var f scan.Frame
	for k := range 2 {
		if err := s.Next(&f); err != nil {
			t.Fatal(err)
		}
		if f.Sequence != uint64(k)<<16 || len(f.Columns) != 64 || len(f.Columns[63].Values) != 65536 {
			t.Errorf("frame %d: sequence %d, %d columns", k, f.Sequence, len(f.Columns))
		}
	}
}

var descriptions = map[string]struct {
	change func(d *plugin.Description)
	want   string
}{
	"no inputs":        {func(d *plugin.Description) { d.Inputs = nil }, "describes no input"},
	"a duplicate":      {func(d *plugin.Description) { d.Inputs[1].Name = "a" }, `describes two inputs named "a"`},
	"no name":          {func(d *plugin.Description) { d.Inputs[1].Name = "" }, "describes input 1 without a name"},
	"no unit":          {func(d *plugin.Description) { d.Inputs[1].Unit = "" }, `input "c": unit "" is none of ["code" "V" "A" "Cel" "1"]`},
	"another unit":     {func(d *plugin.Description) { d.Inputs[0].Unit = "mA" }, `input "a": unit "mA" is none of ["code" "V" "A" "Cel" "1"]`},
	"an empty range":   {func(d *plugin.Description) { d.Inputs[1].CodeRangeKnown = true }, `input "c": code range 0…0 is empty`},
	"no rate":          {func(d *plugin.Description) { d.NominalRateHertz = math.NaN() }, "describes a rate of NaN Hz"},
	"an endless rate":  {func(d *plugin.Description) { d.NominalRateHertz = math.Inf(1) }, "describes a rate of +Inf Hz"},
	"a negative rate":  {func(d *plugin.Description) { d.NominalRateHertz = -50 }, "describes a rate of -50 Hz"},
	"no scale":         {func(d *plugin.Description) { d.Inputs[1].VoltsPerCode = math.NaN() }, `input "c": converter of NaN V for each code and 0 V at code zero makes no sense`},
	"an endless scale": {func(d *plugin.Description) { d.Inputs[1].ZeroCodeVolts = math.Inf(1) }, `input "c": converter of 0 V for each code and +Inf V at code zero makes no sense`},
}

func TestDriverThatDoesNotConfigure(t *testing.T) {
	t.Parallel()
	type refusal struct {
		name     string
		settings with
		want     string
	}
	cases := map[string]refusal{
		"an unknown setting":     {"liar", with{"fraems": "x"}, `driver liar: unknown setting "fraems"`},
		"a setting that is none": {"liar", with{"x": make(chan int)}, "driver liar: settings: proto: invalid type: chan int"},
		"refused":                {"liar", with{"configure": "refuse"}, "driver liar: setting bus: there is no i2c-9"},
		"panics":                 {"liar", with{"configure": "panic"}, "driver liar: process ended (exit status 2): panic: bus is nil"},
		"hangs":                  {"liar", with{"configure": "hang"}, "driver liar: no answer to Configure within 300ms"},
		"of another kind":        {"counting", nil, "driver counting: is a plugin of another kind: unknown service ampledger.plugin.v1.DriverService"},
	}
	for name, d := range descriptions {
		cases["describes "+name] = refusal{"liar", with{"describe": name}, "driver liar: " + d.want}
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			host, _ := newHost(t)
			if name == "hangs" {
				host.Deadlines.Configure = 300e6
			}
			_, err := host.StartDriver(t.Context(), shipped(c.name), "adc0", c.settings)
			wantError(t, err, c.want)
		})
	}
}

// A driver that hangs as a whole is killed, and whoever waits for its next frame is told why; one whose device is silent is not.
func TestSilentDriverIsChecked(t *testing.T) {
	t.Parallel()
	for _, hangs := range []bool{false, true} {
		t.Run(fmt.Sprint("hangs: ", hangs), func(t *testing.T) {
			t.Parallel()
			host, _ := newHost(t)
			if hangs {
				host.Deadlines.Answer = 300 * time.Millisecond
			}
			d := startDriver(t, host, "sweeper", nil)
			s := open(t, d)
			if err := s.Next(new(scan.Frame)); err != nil {
				t.Fatal(err)
			}
			if hangs {
				if err := syscall.Kill(d.PID(), syscall.SIGSTOP); err != nil {
					t.Fatal(err)
				}
			}
			d.Check(t.Context())
			if !hangs {
				if d.Exited() {
					t.Error("it was ended, and only its device is silent")
				}
				return
			}
			for !d.Exited() && t.Context().Err() == nil { // a process does not stop at once
				d.Check(t.Context())
			}
			wantError(t, s.Next(new(scan.Frame)), "driver sweeper: gave no frame for long and no answer to Describe within 300ms: it was killed")
			d.Check(t.Context()) // it has ended: nothing more happens
		})
	}
}
