package score

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/driver/simulate"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// simulated is a device whose driver is simulate, in the caller's process. It does to the frames what pluginhost and pipeline.Device do to
// those of a process.
type simulated struct {
	name       string
	with       map[string]any
	settings   settle
	conductors []*pipeline.Conductor

	next  func() (*plugin.Frame, error, bool)
	stop  func()
	frame scan.Frame
	codes [][]float64
	times pipeline.Timeline
}

var errStopped = errors.New("stopped")

// Name implements device.
func (d *simulated) Name() string { return d.name }

// Open implements device.
func (d *simulated) Open(ctx context.Context) error {
	driver := simulate.New()
	description, err := describe(ctx, driver, d.name, d.with)
	if err != nil {
		return err
	}
	settings, inputs := d.settings(description), pipeline.NewInputs(d.name, description)
	for _, c := range d.conductors {
		err = errors.Join(err, c.Bind(inputs, settings))
	}
	if err != nil {
		return fmt.Errorf("device %s: %w", d.name, err)
	}
	d.frame.Columns = make([]scan.Column, len(description.GetInputs()))
	d.codes = make([][]float64, len(description.GetInputs()))
	d.times.Begin(1)
	d.next, d.stop = iter.Pull2(frames(ctx, driver))
	return nil
}

func describe(ctx context.Context, driver *simulate.Driver, device string, with map[string]any) (*plugin.Description, error) {
	settings, err := plugin.NewSettings(with)
	if err != nil {
		return nil, fmt.Errorf("device %s: %w", device, err)
	}
	description, err := driver.Configure(ctx, device, settings)
	if err != nil {
		return nil, fmt.Errorf("device %s: %w", device, err)
	}
	return description, nil
}

// frames turns the driver's calls into a sequence; an error comes last.
func frames(ctx context.Context, driver *simulate.Driver) iter.Seq2[*plugin.Frame, error] {
	return func(yield func(*plugin.Frame, error) bool) {
		err := driver.Stream(ctx, func(f *plugin.Frame) error {
			if !yield(f, nil) {
				return errStopped
			}
			return nil
		})
		if err != nil && !errors.Is(err, errStopped) {
			yield(nil, err)
		}
	}
}

// Next implements device.
func (d *simulated) Next(context.Context) (*scan.Frame, error) {
	wire, err, more := d.next()
	switch {
	case !more:
		return nil, io.EOF
	case err != nil:
		return nil, err
	}
	f := &d.frame
	f.Clock = scan.Clock{
		Sequence: wire.GetFirstSequence(), Wall: wire.GetFirstWallNanos(), Monotonic: wire.GetFirstMonotonicNanos(),
		Period: wire.GetPeriodNanos(), Offsets: wire.GetOffsetNanos(),
	}
	f.Count, f.Flags = int(wire.GetScanCount()), nil
	for i, column := range wire.GetColumns() {
		f.Columns[i] = d.column(i, column)
	}
	d.times.Check(f)
	return f, nil
}

// column turns codes or values into numbers.
func (d *simulated) column(i int, wire *plugin.Column) scan.Column {
	to := scan.Column{Values: wire.GetValues()}
	if codes := wire.GetCodes(); len(codes) > 0 {
		d.codes[i] = d.codes[i][:0]
		for _, code := range codes {
			d.codes[i] = append(d.codes[i], float64(code))
		}
		to.Values = d.codes[i]
	}
	if absent := wire.GetAbsentIndices(); len(absent) > 0 {
		to.Flags = make([]scan.Quality, len(to.Values))
		for _, k := range absent {
			to.Flags[k] = scan.Missing
		}
	}
	return to
}

// Deliver implements device.
func (d *simulated) Deliver(ctx context.Context, f *scan.Frame) {
	for _, c := range d.conductors {
		if c.Uses(d.name) {
			c.Apply(ctx, d.name, f)
		}
	}
}

// End implements device.
func (d *simulated) End(ctx context.Context) {
	for _, c := range d.conductors {
		if c.Uses(d.name) {
			c.End(ctx, d.name)
		}
	}
}

// Close implements device.
func (d *simulated) Close() {
	if d.stop != nil {
		d.stop()
	}
}
