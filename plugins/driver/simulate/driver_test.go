package simulate

import (
	"context"
	"errors"
	"maps"
	"math"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/plugin"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// with is short for what stands under `with:`.
type with = map[string]any

// pack is a device with both sensors, all their errors and every shape.
func pack(changes with) with {
	settings := with{
		"seed": 7, "rate_hertz": 1000, "duration_seconds": 12.5, "speed": 0, "repeat": true,
		"duty": []any{
			with{"hold_amperes": 20, "seconds": 1},
			with{"from_amperes": 20, "to_amperes": -30, "seconds": 0.5},
			with{"mean_amperes": 5, "amplitude_amperes": 40, "period_seconds": 0.3, "seconds": 1},
			with{"contactor_open": true, "seconds": 0.25},
			with{"file": "../../../testdata/recordings/drive_us06_25c_10hz.csv", "column": "current_a", "scale": -1, "seconds": 2},
		},
		"temperature": with{"mean_celsius": 30, "swing_kelvin": 5, "period_seconds": 10},
		"shunt": with{"resistance_ohms": 1e-4, "gain": 50, "bits": 16, "volts_per_code": 7.63e-5, "noise_amperes": 0.2,
			"offset_amperes": 0.3, "gain_error_ratio": 0.002, "temperature_coefficient_per_kelvin": 15e-6},
		"magnetic": with{"volts_per_ampere": 0.004, "zero_volts": 2.5, "noise_amperes": 0.1, "offset_amperes": -0.5, "offset_amperes_per_kelvin": 0.02,
			"minimum_volts": 0.5, "maximum_volts": 4.5, "bits": 16, "signed": false, "volts_per_code": 7.63e-5},
	}
	maps.Copy(settings, changes)
	return settings
}

func configure(t *testing.T, settings with) (*Driver, *plugin.Description, error) {
	t.Helper()
	decodable, err := plugin.NewSettings(settings)
	if err != nil {
		t.Fatal(err)
	}
	driver := New()
	description, err := driver.Configure(t.Context(), "device", decodable)
	return driver, description, err
}

// play gives the description and all frames of a source that ends.
func play(t *testing.T, settings with) (*plugin.Description, []*plugin.Frame) {
	t.Helper()
	driver, description, err := configure(t, settings)
	if err != nil {
		t.Fatal(err)
	}
	var frames []*plugin.Frame
	err = driver.Stream(t.Context(), func(f *plugin.Frame) error {
		frames = append(frames, proto.CloneOf(f))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return description, frames
}

// columns gives each input's values over a whole stream, by name.
func columns(description *plugin.Description, frames []*plugin.Frame) map[string][]float64 {
	all := make(map[string][]float64)
	for _, f := range frames {
		for i, column := range f.Columns {
			name := description.Inputs[i].Name
			all[name] = append(all[name], column.Values...)
			for _, code := range column.Codes {
				all[name] = append(all[name], float64(code))
			}
		}
	}
	return all
}

func TestConformance(t *testing.T) {
	for name, settings := range map[string]with{
		"as fast as possible": pack(nil),
		"endless":             pack(with{"duration_seconds": 0}),
		"real time":           pack(with{"speed": 1, "duration_seconds": 0}),
		"everything":          everything(nil),
		"all scans lost": {"rate_hertz": 1e6, "speed": 0, "faults": []any{
			with{"kind": "scans_lost", "from_seconds": 0.01, "seconds": 1e9},
		}},
	} {
		t.Run(name, func(t *testing.T) {
			drivertest.Run(t, func() plugin.Driver { return New() }, settings)
		})
	}
}

func TestDescription(t *testing.T) {
	_, got, err := configure(t, pack(with{"rate_hertz": 3}))
	if err != nil {
		t.Fatal(err)
	}
	want := &plugin.Description{NominalRateHertz: 1e9 / 333333333., Finite: true, Inputs: []*plugin.Input{
		{Name: "shunt_code", Unit: "code", MinimumCode: -32768, MaximumCode: 32767, CodeRangeKnown: true, VoltsPerCode: 7.63e-5},
		{Name: "shunt_celsius", Unit: "Cel"},
		{Name: "magnetic_code", Unit: "code", MaximumCode: 65535, CodeRangeKnown: true, VoltsPerCode: 7.63e-5},
		{Name: "magnetic_celsius", Unit: "Cel"},
		{Name: "true_amperes", Unit: "A"},
		{Name: "contactor_open", Unit: "1"},
	}}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("description (-want +got):\n%s", diff)
	}
	_, got, err = configure(t, with{"rate_hertz": 10})
	if err != nil || len(got.Inputs) != 2 || got.Finite {
		t.Errorf("bare device: %v, %v; want the two true inputs, endless", got, err)
	}
}

func TestCutOfFramesChangesNothing(t *testing.T) {
	description, frames := play(t, pack(nil))
	want := columns(description, frames)
	if n := len(want["true_amperes"]); n != 12500 {
		t.Fatalf("%d scans, want 12500", n)
	}
	for _, size := range []int{1, 7, 12499, 100_000} {
		description, frames := play(t, pack(with{"frame_scans": size}))
		if diff := cmp.Diff(want, columns(description, frames)); diff != "" {
			t.Errorf("frames of %d give other scans (-want +got):\n%s", size, diff)
		}
		last := frames[len(frames)-1]
		if end := int64(last.FirstSequence) + int64(last.ScanCount); end != 12500 || last.FirstMonotonicNanos != int64(last.FirstSequence)*1e6 {
			t.Errorf("frames of %d end with sequence %d, the last begins at %d ns", size, end, last.FirstMonotonicNanos)
		}
	}
}

// TestSensorsDoNotDisturbEachOther takes one away, and the noise of the other, and holds their codes against the full pack's.
func TestSensorsDoNotDisturbEachOther(t *testing.T) {
	description, frames := play(t, pack(nil))
	both := columns(description, frames)
	alone := pack(nil)
	delete(alone, "shunt")
	description, frames = play(t, alone)
	if !slices.Equal(columns(description, frames)["magnetic_code"], both["magnetic_code"]) {
		t.Error("the magnetic codes depend on the shunt")
	}
	if other, frames := play(t, pack(with{"seed": 8})); slices.Equal(columns(other, frames)["shunt_code"], both["shunt_code"]) {
		t.Error("another seed gives the same codes")
	}
}

// TestReadingsAreTheTruthWithTheirErrors converts the codes back as a daemon would.
func TestReadingsAreTheTruthWithTheirErrors(t *testing.T) {
	description, frames := play(t, pack(with{"duration_seconds": 100}))
	all := columns(description, frames)
	for name, amperes := range map[string]func(code, celsius float64) float64{
		"shunt":    func(code, celsius float64) float64 { return code * 7.63e-5 / (50 * 1e-4 * (1 + 15e-6*(celsius-20))) },
		"magnetic": func(code, celsius float64) float64 { return (code*7.63e-5-2.5)/0.004 - 0.02*(celsius-25) },
	} {
		gain, offset, noise := 1.002, 0.3, 0.2
		if name == "magnetic" {
			gain, offset, noise = 1, -0.5, 0.1
		}
		sum, squares, n := 0.0, 0.0, float64(len(all["true_amperes"]))
		for i, truth := range all["true_amperes"] {
			difference := amperes(all[name+"_code"][i], all[name+"_celsius"][i]) - gain*truth - offset
			sum += difference
			squares += difference * difference
		}
		if mean, deviation := sum/n, math.Sqrt(squares/n); math.Abs(mean) > 4*noise/math.Sqrt(n) || math.Abs(deviation/noise-1) > 0.02 {
			t.Errorf("%s: mean error beyond the stated %v A, standard deviation %v A, want 0 and %v", name, mean, deviation, noise)
		}
	}
}

func TestPace(t *testing.T) {
	for _, c := range []struct {
		name     string
		settings with
		want     []time.Duration
	}{
		{"real time", with{"rate_hertz": 100, "duration_seconds": 0.3}, []time.Duration{100e6, 210e6, 290e6}},
		{"twice as fast", with{"rate_hertz": 100, "duration_seconds": 0.3, "speed": 2}, []time.Duration{100e6, 145e6}},
		{"slow scans", with{"rate_hertz": 0.5, "duration_seconds": 5}, []time.Duration{0, 2e9, 4e9}},
		{"frames as told", with{"rate_hertz": 1, "duration_seconds": 5, "frame_scans": 3}, []time.Duration{2e9, 4e9}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				driver, _, err := configure(t, c.settings)
				if err != nil {
					t.Fatal(err)
				}
				var got []time.Duration
				begun := time.Now()
				err = driver.Stream(t.Context(), func(f *plugin.Frame) error {
					got = append(got, time.Since(begun))
					if want := begun.UnixNano() + f.FirstMonotonicNanos; f.FirstWallNanos != want {
						t.Errorf("wall %d, want %d", f.FirstWallNanos, want)
					}
					return nil
				})
				if err != nil || !slices.Equal(got, c.want) {
					t.Errorf("frames came at %v, %v, want %v", got, err, c.want)
				}
			})
		})
	}
}

func TestStreamEndsWithTheContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		driver, _, err := configure(t, with{"rate_hertz": 0.001})
		if err != nil {
			t.Fatal(err)
		}
		cause := errors.New("enough")
		ctx, cancel := context.WithCancelCause(t.Context())
		time.AfterFunc(time.Minute, func() { cancel(cause) })
		begun := time.Now()
		if err := driver.Stream(ctx, func(*plugin.Frame) error { return nil }); !errors.Is(err, cause) || time.Since(begun) != time.Minute {
			t.Errorf("error %v after %v, want the cause after a minute", err, time.Since(begun))
		}
	})
}

func TestEndlessEndsWhereTimeDoes(t *testing.T) {
	driver, _, err := configure(t, with{"rate_hertz": 0.001, "speed": 0, "frame_scans": 100_000})
	if err != nil {
		t.Fatal(err)
	}
	scans := 0
	err = driver.Stream(t.Context(), func(f *plugin.Frame) error { scans += int(f.ScanCount); return nil })
	if want := "the simulated time has passed 3000000000 s, start the device again"; err == nil || err.Error() != want || scans != 3e6 {
		t.Errorf("error %v after %d scans, want %s", err, scans, want)
	}
	if err := New().Stream(t.Context(), nil); err == nil || err.Error() != "stream before configure" {
		t.Errorf("error %v", err)
	}
}

func TestScansAllocateNothing(t *testing.T) {
	driver, _, err := configure(t, pack(with{"duration_seconds": 0}))
	if err != nil {
		t.Fatal(err)
	}
	frames := newGenerator(driver.plan)
	if allocations := testing.AllocsPerRun(100, func() { frames.next() }); allocations != 0 {
		t.Errorf("%v allocations a frame, want none", allocations)
	}
}

func BenchmarkFrame(b *testing.B) {
	decodable, err := plugin.NewSettings(pack(with{"duration_seconds": 0}))
	if err != nil {
		b.Fatal(err)
	}
	driver := New()
	if _, err := driver.Configure(b.Context(), "device", decodable); err != nil {
		b.Fatal(err)
	}
	frames := newGenerator(driver.plan)
	b.ReportAllocs()
	scans := 0.0
	for b.Loop() {
		scans += float64(frames.next().ScanCount)
	}
	b.ReportMetric(scans/b.Elapsed().Seconds()/1e6, "Mscans/s")
}
