package simulate

import (
	"slices"
	"testing"

	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
	"github.com/ampledger/ampledger/plugins/plugin"
)

const levelsFile = "../../../testdata/recordings/stationary_duty_profiles.csv"

// everything is a pack with every error there is, over a drive cycle and two weeks of home storage.
func everything(changes with) with {
	settings := pack(with{"truth": true, "duration_seconds": 60})
	settings["duty"] = append([]any{
		with{"levels_file": levelsFile, "profile": "pv_home", "capacity_ampere_hours": 280, "rest_when_unchanged": true, "standing_amperes": 0.3, "seconds": 1200},
	}, settings["duty"].([]any)...)
	shunt, magnetic := settings["shunt"].(with), settings["magnetic"].(with)
	thermometer := with{"lag_seconds": 30, "noise_kelvin": 0.05, "quantum_kelvin": 0.1, "offset_kelvin": 0.4}
	shunt["walk_amperes_per_root_hour"], shunt["gain_drift_per_year"] = 0.001, 1e-4
	shunt["thermal_emf"] = with{"volts_per_kelvin": 1e-6, "kelvin_per_watt": 0.1, "lag_seconds": 20}
	shunt["body"], shunt["thermometer"] = with{"kelvin_per_watt": 1, "lag_seconds": 300}, thermometer
	magnetic["walk_amperes_per_root_hour"], magnetic["offset_amperes_per_squared_kelvin"] = 0.05, 1e-4
	magnetic["body"], magnetic["thermometer"] = with{"kelvin_per_square_ampere": 1e-4, "lag_seconds": 600}, thermometer
	magnetic["hysteresis"] = with{"model": "jiles-atherton", "full_scale_amperes": 500, "remanence_amperes": 0.5}
	magnetic["supply"] = with{"drift_volts": 0.01, "ripple_volts": 0.001, "noise_volts": 0.0005, "offset_volts": 0.02}
	settings["faults"] = []any{
		with{"kind": "dropout", "input": "shunt_code", "from_seconds": 1, "seconds": 0.01},
		with{"kind": "stuck", "input": "magnetic_code", "rate_per_hour": 600, "seconds": 0.1},
		with{"kind": "open_sense_lead", "input": "shunt_code", "rate_per_hour": 600, "seconds": 0.05, "wander_codes": 40},
		with{"kind": "missing_supply", "input": "magnetic_code", "from_seconds": 3, "seconds": 0.2},
		with{"kind": "spike", "input": "magnetic_code", "rate_per_hour": 3600, "amperes": 100},
		with{"kind": "false_contactor", "from_seconds": 2, "seconds": 0.5, "every_seconds": 5},
		with{"kind": "scans_lost", "rate_per_hour": 3600, "seconds": 0.02},
		with{"kind": "time_repeated", "from_seconds": 0.5, "seconds": 0.003, "every_seconds": 7},
	}
	for key, value := range changes {
		settings[key] = value
	}
	return settings
}

func rig(t testing.TB, settings with) (*physics.Rig, uint64) {
	t.Helper()
	decodable, err := plugin.NewSettings(settings)
	if err != nil {
		t.Fatal(err)
	}
	rig, seed, err := NewRig(decodable)
	if err != nil {
		t.Fatal(err)
	}
	return rig, seed
}

// TestCutOfFramesChangesNothingOfFaults holds every scan of the frames, whatever their size, against the run in this process.
func TestCutOfFramesChangesNothingOfFaults(t *testing.T) {
	rig, seed := rig(t, everything(nil))
	for _, size := range []int{1, 13, 1000, 100_000} {
		description, frames := play(t, everything(with{"frame_scans": size}))
		run, want := physics.New(rig, seed), physics.Scan{}
		for _, f := range frames {
			for i := range int(f.ScanCount) {
				if !run.Next(&want) {
					t.Fatalf("frames of %d: too many scans", size)
				}
				if got := f.FirstSequence + uint64(i); got != want.Sequence {
					t.Fatalf("frames of %d: sequence %d, want %d", size, got, want.Sequence)
				}
				compare(t, description, f, i, &want)
			}
		}
		if run.Next(&want) {
			t.Errorf("frames of %d: scans from %d on are missing", size, want.Sequence)
		}
	}
}

// compare holds one scan of a frame against what is wanted.
func compare(t *testing.T, description *plugin.Description, f *plugin.Frame, i int, want *physics.Scan) {
	t.Helper()
	nanos := f.FirstMonotonicNanos + int64(i)*f.PeriodNanos
	if f.PeriodNanos == 0 {
		nanos = f.FirstMonotonicNanos + f.OffsetNanos[i]
	}
	if nanos != want.MonotonicNanos {
		t.Fatalf("scan %d: %d ns, want %d", want.Sequence, nanos, want.MonotonicNanos)
	}
	contactor := 0.0
	if want.ContactorOpen {
		contactor = 1
	}
	for c, value := range []float64{
		float64(want.Shunt.Code), want.Shunt.Celsius, float64(want.Magnetic.Code), want.Magnetic.Celsius, want.SupplyVolts,
		want.TrueAmperes, contactor, want.Shunt.TrueOffsetAmperes, want.Magnetic.TrueOffsetAmperes,
	} {
		name, column, got := description.Inputs[c].Name, f.Columns[c], 0.0
		if len(column.Codes) > 0 {
			got = float64(column.Codes[i])
		} else {
			got = column.Values[i]
		}
		input, can := physics.InputNamed(name)
		if absent := slices.Contains(column.AbsentIndices, uint32(i)); got != value || absent != (can && want.Absent.Has(input)) {
			t.Fatalf("scan %d, %s: %v, absent %v, want %v", want.Sequence, name, got, absent, value)
		}
	}
}

func TestTruthComesLast(t *testing.T) {
	names := func(settings with) (all []string) {
		_, description, err := configure(t, settings)
		if err != nil {
			t.Fatal(err)
		}
		for _, input := range description.Inputs {
			all = append(all, input.Name)
		}
		return all
	}
	want := []string{"shunt_code", "shunt_celsius", "magnetic_code", "magnetic_celsius", "supply_volts", "true_amperes", "contactor_open",
		"shunt_true_offset_amperes", "magnetic_true_offset_amperes"}
	if got := names(everything(nil)); !slices.Equal(got, want) {
		t.Errorf("inputs %q, want %q", got, want)
	}
	if got := names(with{"rate_hertz": 1, "truth": true}); !slices.Equal(got, []string{"true_amperes", "contactor_open"}) {
		t.Errorf("inputs %q without sensors", got)
	}
}

// BenchmarkRun makes scans in this process, as a Monte Carlo does.
func BenchmarkRun(b *testing.B) {
	play := everything(with{"duration_seconds": 0})
	play["magnetic"].(with)["hysteresis"] = with{"model": "play", "full_scale_amperes": 500, "remanence_amperes": 0.5}
	for _, c := range []struct {
		name     string
		settings with
	}{
		{"everything at 1 Hz", everything(with{"duration_seconds": 0, "rate_hertz": 1, "faults": []any{
			with{"kind": "dropout", "input": "shunt_code", "rate_per_hour": 10},
			with{"kind": "stuck", "input": "magnetic_code", "rate_per_hour": 1, "seconds": 20},
		}})},
		{"everything, Jiles-Atherton", everything(with{"duration_seconds": 0, "duty": pack(nil)["duty"]})},
		{"everything, play", play},
		{"plain", pack(with{"duration_seconds": 0})},
	} {
		b.Run(c.name, func(b *testing.B) {
			rig, seed := rig(b, c.settings)
			run, scan, scans := physics.New(rig, seed), physics.Scan{}, 0.0
			b.ReportAllocs()
			for b.Loop() {
				for range 1000 {
					run.Next(&scan)
				}
				scans += 1000
			}
			b.ReportMetric(scans/b.Elapsed().Seconds()/1e6, "Mscans/s")
		})
	}
}
