package iio

import (
	"bytes"
	"log"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// monitor is a tree with a hardware monitor, by Documentation/ABI/testing/sysfs-class-hwmon, and another of the same kind.
func monitor() map[string]string {
	return map[string]string{
		"hwmon0/name": "powermonitor", "hwmon0/label": "pack", "hwmon0/update_interval": "100",
		"hwmon0/curr1_input": "-12345", "hwmon0/curr1_label": "shunt", "hwmon0/curr1_fault": "0", "hwmon0/curr1_max": "20000",
		"hwmon0/in0_input": "40", "hwmon0/in10_input": "51234", "hwmon0/in0_average": "1", "hwmon0/in10_fault": "0",
		"hwmon0/temp1_input": "-2125", "hwmon0/temp1_crit": "90000", "hwmon0/power1_input": "7", "hwmon0/fan1_input": "7",
		"hwmon1/name": "powermonitor", "hwmon1/label": "charger", "hwmon1/in0_input": "1", "hwmon12/name": "board", "hwmon12/temp1_input": "1",
	}
}

func monitored(more with) with {
	all := with{"class": "hwmon", "mode": "polled", "rate_hertz": 4}
	maps.Copy(all, more)
	return all
}

// The units are the ABI's: millivolts, milliamperes, millidegrees Celsius.
func TestPollsAHardwareMonitor(t *testing.T) {
	root := tree(t, monitor())
	synctest.Test(t, func(t *testing.T) {
		var none int64
		d := bubble(&none)
		got := mustConfigure(t, d, at(root, monitored(nil)))
		want := &plugin.Description{NominalRateHertz: 4, Inputs: []*plugin.Input{
			{Name: "temp1", Unit: "Cel"}, {Name: "in0", Unit: "V"}, {Name: "in10", Unit: "V"}, {Name: "shunt", Unit: "A"},
		}}
		if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
			t.Error(diff)
		}
		frames, err := collect(t.Context(), d, 2)
		if err != nil || !slices.Equal(times(frames), []int64{1e9, 1.25e9}) {
			t.Errorf("times %d, %v", times(frames), err)
		}
		for column, want := range []float64{-2.125, 0.040, 51.234, -12.345} {
			if got := values(frames, column); !slices.Equal(got, []float64{want, want}) {
				t.Errorf("column %d: %v, want %v", column, got, want)
			}
		}
	})
}

func TestHardwareMonitorsInputsByChannelLabelAndName(t *testing.T) {
	root := tree(t, monitor())
	for _, device := range []any{0, "pack"} {
		got := mustConfigure(t, quiet(), at(root, monitored(with{"device": device, "inputs": []any{with{"label": "shunt"}, with{"channel": "in10", "name": "volts"}}})))
		if len(got.Inputs) != 2 || got.Inputs[0].Name != "shunt" || got.Inputs[1].Name != "volts" {
			t.Errorf("%v: %v", device, got)
		}
	}
	if got := mustConfigure(t, quiet(), at(root, monitored(with{"device": "board"}))); len(got.Inputs) != 1 || got.Inputs[0].Unit != "Cel" {
		t.Errorf("board: %v", got)
	}
}

func TestHardwareMonitorSettingsFaults(t *testing.T) {
	for _, c := range []struct {
		name     string
		change   map[string]string
		settings with
		want     string // ROOT stands for the tree
	}{
		{"class", nil, with{"class": "hwmons"}, `setting "class": "hwmons" is none of hwmon, iio`},
		{"buffered", nil, with{"mode": "buffered"}, `setting "mode": devices of class hwmon have no buffer, use polled`},
		{"name of two", nil, with{"device": "powermonitor"},
			`setting "device": several devices have this name, give the number of one: [0 "powermonitor" ("pack") 1 "powermonitor" ("charger")]`},
		{"not there", nil, with{"device": "packs"},
			`setting "device": ROOT/sys has no such device, there are [0 "powermonitor" ("pack") 1 "powermonitor" ("charger") 12 "board"]`},
		{"no folder", nil, with{"sysfs": "/nowhere"},
			`setting "device": open /nowhere: no such file or directory: this kernel has no hardware monitors, or the setting sysfs is wrong`},
		{"no channel", nil, with{"inputs": []any{with{"channel": "power1"}}},
			`setting "inputs[0]": the device has no channel "power1", there are temp1, in0, in10, curr1`},
		{"faster than it measures", nil, with{"rate_hertz": 10.1},
			`setting "rate_hertz": 10.1 is too often: ROOT/sys/hwmon0/update_interval says that values are new every 100 ms; give 10 at most, or set that`},
		{"interval nonsense", map[string]string{"hwmon0/update_interval": "soon"}, nil, `ROOT/sys/hwmon0/update_interval: "soon" is no number`},
	} {
		t.Run(c.name, func(t *testing.T) {
			attributes := monitor()
			maps.Copy(attributes, c.change)
			root := tree(t, attributes)
			want := strings.ReplaceAll(c.want, "ROOT", root)
			if _, err := configure(t, quiet(), at(root, monitored(c.settings))); err == nil || err.Error() != want {
				t.Errorf("error\n%v\nwant\n%s", err, want)
			}
		})
	}
}

func TestAsFastAsTheHardwareMonitorMeasures(t *testing.T) {
	for _, c := range []struct {
		interval string
		rate     float64
	}{{"100", 10}, {"3000", 1.0 / 3}, {"7", 142.857}, {"0", 1000}} {
		attributes := monitor()
		attributes["hwmon0/update_interval"] = c.interval
		mustConfigure(t, quiet(), at(tree(t, attributes), monitored(with{"rate_hertz": c.rate})))
	}
}

// TestSensorWithoutAValue asks a sensor six times for a current; where it has none, none goes out, least of all the one before.
func TestSensorWithoutAValue(t *testing.T) {
	value := &attributeDouble{
		texts: []string{"1000\n", "", "", "2000\n", "3000\n", "4000\n"},
		errs:  []error{nil, syscall.EAGAIN, noData, nil, nil, nil},
	}
	flag := &attributeDouble{texts: []string{"0\n", "1\n", "1\n", "0\n"}, errs: make([]error, 4)}
	var said bytes.Buffer
	d, column := quiet(), &plugin.Column{}
	d.log = log.New(&said, "", 0)
	p := probe{input: &input{channel: &channel{processed: true}}, path: "curr1_input", file: value, fault: flag, faulty: errFaulty}
	for scan := range 6 {
		if err := p.take(column, scan, d.log); err != nil {
			t.Fatal(err)
		}
	}
	if !slices.Equal(column.Values, []float64{1, 0, 0, 0, 0, 4}) || !slices.Equal(column.AbsentIndices, []uint32{1, 2, 3, 4}) {
		t.Errorf("%v", column)
	}
	if got, want := said.String(), "curr1_input has no value: resource temporarily unavailable\n"; got != want {
		t.Errorf("said %q", got)
	}
}

func TestSensorWhoseFaultStays(t *testing.T) {
	attributes := monitor()
	attributes["hwmon0/curr1_fault"] = "1"
	root := tree(t, attributes)
	var said bytes.Buffer
	d := quiet()
	d.log = log.New(&said, "", 0)
	mustConfigure(t, d, at(root, monitored(with{"rate_hertz": 1, "inputs": []any{with{"channel": "curr1"}, with{"channel": "in10"}}})))
	frames, err := collect(t.Context(), d, 1)
	if err != nil || !slices.Equal(frames[0].Columns[0].AbsentIndices, []uint32{0}) || !slices.Equal(values(frames, 1), []float64{51.234}) {
		t.Errorf("%v, %v", frames, err)
	}
	in := filepath.Join(root, "sys", "hwmon0")
	want := in + "/curr1_input has no value: the sensor says that its value is wrong: " + in + "/curr1_fault is not 0, see the sensor and its wiring\n"
	if said.String() != want {
		t.Errorf("said %q, want %q", said.String(), want)
	}
}

func TestHardwareMonitorEndsTheStream(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(path string) error
		want  string // IN stands for the device's folder
	}{
		{"no number", func(in string) error { return os.WriteFile(in+"/curr1_input", []byte("n/a\n"), 0) }, `IN/curr1_input: "n/a" is no number`},
		{"nothing", func(in string) error { return os.WriteFile(in+"/curr1_input", nil, 0) }, `IN/curr1_input: "" is no number`},
		{"value gone", func(in string) error { return os.Remove(in + "/curr1_input") },
			"open IN/curr1_input: no such file or directory: the device has gone, see whether it is connected and its kernel driver loaded"},
		{"fault gone", func(in string) error { return os.Remove(in + "/curr1_fault") },
			"open IN/curr1_fault: no such file or directory: the device has gone, see whether it is connected and its kernel driver loaded"},
	} {
		t.Run(c.name, func(t *testing.T) {
			root := tree(t, monitor())
			d := quiet()
			mustConfigure(t, d, at(root, monitored(with{"inputs": []any{with{"channel": "curr1"}}})))
			in := filepath.Join(root, "sys", "hwmon0")
			if err := c.spoil(in); err != nil {
				t.Fatal(err)
			}
			frames, err := collect(t.Context(), d, 1)
			if want := strings.ReplaceAll(c.want, "IN", in); err == nil || err.Error() != want || len(frames) != 0 {
				t.Errorf("%d frames, %v, want %s", len(frames), err, want)
			}
		})
	}
}

func TestPollingAFaultAllocatesNothing(t *testing.T) {
	attributes := monitor()
	attributes["hwmon0/curr1_fault"] = "1"
	d := quiet()
	mustConfigure(t, d, at(tree(t, attributes), monitored(with{"inputs": []any{with{"channel": "curr1"}}})))
	probes, err := openProbes(d.plan)
	defer closeProbes(probes)
	if err != nil {
		t.Fatal(err)
	}
	column := &plugin.Column{}
	scan := func() {
		column.Values, column.AbsentIndices = column.Values[:0], column.AbsentIndices[:0]
		if err := probes[0].take(column, 0, d.log); err != nil {
			t.Fatal(err)
		}
	}
	if allocs := testing.AllocsPerRun(1000, scan); allocs != 0 {
		t.Errorf("%v allocations a scan", allocs)
	}
}
