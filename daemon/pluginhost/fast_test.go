//go:build unix

package pluginhost_test

import (
	"context"
	"fmt"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// fast is a driver that gives frames of doubles as fast as they are taken.
type fast struct {
	Scans  int `json:"scans"`
	Inputs int `json:"inputs"`
	Frames int `json:"frames"` // 0 = without end
}

func (f *fast) Configure(_ context.Context, _ string, settings plugin.Settings) (*plugin.Description, error) {
	d := &plugin.Description{}
	err := settings.Decode(f)
	for k := range f.Inputs {
		d.Inputs = append(d.Inputs, &plugin.Input{Name: fmt.Sprint(k), Unit: "A"})
	}
	return d, err
}

func (f *fast) Stream(_ context.Context, emit func(*plugin.Frame) error) error {
	frame := &plugin.Frame{ScanCount: uint32(f.Scans), PeriodNanos: 1e6}
	for range f.Inputs {
		frame.Columns = append(frame.Columns, &plugin.Column{Values: make([]float64, f.Scans)})
	}
	for k := 0; f.Frames == 0 || k < f.Frames; k++ {
		frame.FirstSequence = uint64(k) * uint64(f.Scans)
		frame.FirstMonotonicNanos = int64(frame.FirstSequence) * frame.PeriodNanos
		if err := emit(frame); err != nil {
			return err
		}
	}
	return nil
}
