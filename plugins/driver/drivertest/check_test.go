package drivertest

import (
	"math"
	"testing"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/plugin"
)

func description() *plugin.Description {
	return &plugin.Description{NominalRateHertz: 10, Inputs: []*plugin.Input{
		{Name: "a", Unit: "A"},
		{Name: "c", Unit: "code", MinimumCode: -8, MaximumCode: 7, CodeRangeKnown: true, VoltsPerCode: 1e-3},
	}}
}

func TestDescriptionFaultsAreFound(t *testing.T) {
	if err := checkDescription(description()); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		want string
		harm func(*plugin.Description)
	}{
		{"the device has no inputs", func(d *plugin.Description) { d.Inputs = nil }},
		{"nominal rate NaN Hz", func(d *plugin.Description) { d.NominalRateHertz = math.NaN() }},
		{`two inputs are named "a"`, func(d *plugin.Description) { d.Inputs[1].Name = "a" }},
		{`input 0, "": no name`, func(d *plugin.Description) { d.Inputs[0].Name = "" }},
		{`input 0, "a": unit "mA" is none of ["code" "V" "A" "Cel" "1"]`, func(d *plugin.Description) { d.Inputs[0].Unit = "mA" }},
		{`input 1, "c": a converter is described and the unit is "V"`, func(d *plugin.Description) { d.Inputs[1].Unit = "V" }},
		{`input 1, "c": codes from -8 to -8`, func(d *plugin.Description) { d.Inputs[1].MaximumCode = -8 }},
	} {
		harmed := description()
		c.harm(harmed)
		if err := checkDescription(harmed); err == nil || err.Error() != c.want {
			t.Errorf("error %v, want %s", err, c.want)
		}
	}
}

func frame() *plugin.Frame {
	return &plugin.Frame{
		FirstSequence: 3, ScanCount: 2, OffsetNanos: []int64{0, -5},
		Columns: []*plugin.Column{{Values: []float64{1, 2}, AbsentIndices: []uint32{0, 1}}, {Codes: []int32{7}}},
	}
}

func TestFrameFaultsAreFound(t *testing.T) {
	follow := func(f *plugin.Frame) error {
		c := checker{description: description(), next: 3}
		return c.check(f)
	}
	if err := follow(frame()); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		want string
		harm func(*plugin.Frame)
	}{
		{"no scans", func(f *plugin.Frame) { f.ScanCount = 0 }},
		{"sequence 2 comes after 2", func(f *plugin.Frame) { f.FirstSequence = 2 }},
		{"1 columns for 2 inputs", func(f *plugin.Frame) { f.Columns = f.Columns[:1] }},
		{"period -1 ns", func(f *plugin.Frame) { f.PeriodNanos = -1 }},
		{"uncertainty of the time -1 ns", func(f *plugin.Frame) { f.TimeUncertaintyNanos = -1 }},
		{"a period and 2 offsets", func(f *plugin.Frame) { f.PeriodNanos = 1 }},
		{"1 offsets for 2 scans and no period", func(f *plugin.Frame) { f.OffsetNanos = f.OffsetNanos[:1] }},
		{"the first offset is 1 ns, want 0", func(f *plugin.Frame) { f.OffsetNanos[0] = 1 }},
		{`column 0, "a": 1 codes and 2 values for an input in unit "A"`, func(f *plugin.Frame) { f.Columns[0].Codes = []int32{1} }},
		{`column 1, "c": 1 codes and 1 values for an input in unit "code"`, func(f *plugin.Frame) { f.Columns[1].Values = []float64{1} }},
		{`column 0, "a": 0 values for 2 scans`, func(f *plugin.Frame) { f.Columns[0].Values = nil }},
		{`column 0, "a": 3 values for 2 scans`, func(f *plugin.Frame) { f.Columns[0].Values = []float64{1, 2, 3} }},
		{`column 1, "c": value 0: code 8 is not within -8 to 7`, func(f *plugin.Frame) { f.Columns[1].Codes[0] = 8 }},
		{`column 0, "a": absent index 2 in 2 scans`, func(f *plugin.Frame) { f.Columns[0].AbsentIndices[1] = 2 }},
		{`column 0, "a": absent index 0 comes after 0`, func(f *plugin.Frame) { f.Columns[0].AbsentIndices[1] = 0 }},
	} {
		harmed := frame()
		c.harm(harmed)
		if err := follow(harmed); err == nil || err.Error() != "frame 0: "+c.want {
			t.Errorf("error %v, want %s", err, c.want)
		}
	}
}

func TestSequencesFollow(t *testing.T) {
	c := checker{description: description()}
	for _, first := range []uint64{0, 2, 10} { // lost scans are a jump forward
		f := proto.CloneOf(frame())
		f.FirstSequence = first
		if err := c.check(f); err != nil {
			t.Error(err)
		}
	}
	if err := c.check(frame()); err == nil || err.Error() != "frame 3: sequence 3 comes after 11" {
		t.Errorf("error %v, want that the sequence goes back", err)
	}
}
