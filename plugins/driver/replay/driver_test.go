package replay

import (
	"context"
	"errors"
	"io"
	"os"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/plugin"
)

func TestConformance(t *testing.T) {
	const recordings = "../../../testdata/recordings/"
	for name, settings := range map[string]with{
		"drive, as fast as possible": {"file": recordings + "drive_us06_25c_10hz.csv", "speed": 0},
		"drive, in real time":        {"file": recordings + "drive_us06_25c_10hz.csv"},
		"rest, codes in short frames": {"file": recordings + "zero_current_rest_48h.csv", "speed": 0, "frame_scans": 7, "inputs": []any{
			with{"name": "shunt_code", "column": "current_a", "unit": "code", "scale": 100, "bits": 16}}},
	} {
		t.Run(name, func(t *testing.T) {
			drivertest.Run(t, func() plugin.Driver { return New() }, settings)
		})
	}
}

func TestDescriptionByDefault(t *testing.T) {
	write(t, "# x\ntime_s,mode,current_a,,late,never,1st\n0,CHRG,nan,5,,,\n0.5,REST,2,5,3,,x\n1,2,3,4,5,,6\n9,2,3,4,5,,6\n")
	_, got := mustConfigure(t, with{})
	want := &plugin.Description{NominalRateHertz: 2, Finite: true, Inputs: []*plugin.Input{{Name: "current_a", Unit: "1"}, {Name: "late", Unit: "1"}}}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("description (-want +got):\n%s", diff)
	}
}

func TestDescriptionAsTold(t *testing.T) {
	write(t, "a,t,b\n0,0,0\n1,0,1\n")
	_, got := mustConfigure(t, with{"time_column": "t", "inputs": []any{
		with{"name": "a", "unit": "A", "averaging": true},
		with{"name": "s", "column": "b", "unit": "code", "bits": 16, "volts_per_code": 1e-3, "zero_code_volts": 0.5},
		with{"name": "u", "column": "b", "unit": "code", "bits": 31, "signed": false},
		with{"name": "w", "column": "b", "unit": "code", "bits": 32},
		with{"name": "r", "column": "b", "unit": "code"},
		with{"name": "t", "unit": "V"},
	}})
	want := &plugin.Description{Finite: true, Inputs: []*plugin.Input{
		{Name: "a", Unit: "A", Averaging: true},
		{Name: "s", Unit: "code", MinimumCode: -32768, MaximumCode: 32767, CodeRangeKnown: true, VoltsPerCode: 1e-3, ZeroCodeVolts: 0.5},
		{Name: "u", Unit: "code", MaximumCode: 1<<31 - 1, CodeRangeKnown: true},
		{Name: "w", Unit: "code", MinimumCode: -1 << 31, MaximumCode: 1<<31 - 1, CodeRangeKnown: true},
		{Name: "r", Unit: "code"},
		{Name: "t", Unit: "V"},
	}}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("description (-want +got):\n%s", diff)
	}
}

func TestNominalRate(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		want float64
	}{
		"regular":           {"t,a\n0,1\n0.1,1\n0.2,1\n", 10},
		"one row":           {"t,a\n0,1\n", 0},
		"mostly repeated":   {"t,a\n0,1\n0,1\n0,1\n1,1\n", 0},
		"backwards":         {"t,a\n5,1\n4,1\n", 0},
		"even, mean of two": {"t,a\n0,1\n1,1\n4,1\n", 0.5},
		"up to the fault":   {"t,a\n0,1\n4,1\nx,1\n5,1\n", 0.25},
	} {
		write(t, c.text)
		if _, got := mustConfigure(t, with{}); got.NominalRateHertz != c.want {
			t.Errorf("%s: rate %v Hz, want %v", name, got.NominalRateHertz, c.want)
		}
	}
}

func TestStreamBeforeConfigure(t *testing.T) {
	if _, err := play(t.Context(), New()); err == nil || err.Error() != "stream before configure" {
		t.Errorf("error %v", err)
	}
}

func TestRecordingChangedBetween(t *testing.T) {
	write(t, "t,a\n0,1\n")
	driver, _ := mustConfigure(t, with{})
	if err := os.WriteFile("r.csv", []byte("t,b\n0,1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := play(t.Context(), driver)
	if want := "r.csv: the header changed since the device was configured, start the device again"; err == nil || err.Error() != want {
		t.Errorf("error %v, want %s", err, want)
	}
	if err := os.Remove("r.csv"); err != nil {
		t.Fatal(err)
	}
	if _, err := play(t.Context(), driver); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("error %v, want that the file is gone", err)
	}
}

func TestEmitsErrorIsReturnedEvenIfItIsEOF(t *testing.T) {
	write(t, "t,a\n0,1\n1,2\n")
	driver, _ := mustConfigure(t, with{"speed": 0, "frame_scans": 1})
	calls := 0
	err := driver.Stream(t.Context(), func(*plugin.Frame) error { calls++; return io.EOF })
	if !errors.Is(err, io.EOF) || calls != 1 {
		t.Errorf("error %v after %d calls, want EOF after 1", err, calls)
	}
}

func TestConfigureEndsWithTheContext(t *testing.T) {
	text := []byte("t,a\n")
	for range 5000 {
		text = append(text, "0,1\n"...)
	}
	write(t, string(text))
	settings, err := plugin.NewSettings(with{"file": "r.csv", "where": with{"a": "2"}})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := New().Configure(ctx, "device", settings); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want the context's", err)
	}
}
