package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync/atomic"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// DeviceConfig is one device.
type DeviceConfig struct {
	Name     string
	Program  pluginhost.Program
	With     map[string]any
	Settings func(*plugin.Description) DeviceSettings // what follows from the configuration and the driver's rate

	// Source, if not nil, is what the device reads instead of starting the program.
	Source   Source
	Lockstep bool // time stands still while the source gives nothing: a silence means nothing

	// Record, if not nil, gives what takes each frame whenever the driver has described its device, or nil; the frame is the callee's only
	// during the call.
	Record func(*plugin.Description) func(*scan.Frame)
	Log    *zap.Logger
}

// DeviceSettings is what holds for all channels of a device.
type DeviceSettings struct {
	GapNanos           int64  // a longer interval between scans is a gap; 0 = no limit
	SummaryScans       uint64 // ≥ 1
	StaleNanos         int64  // silence after which its channels are stale
	EstimateStaleNanos int64  // age after which an estimate is stale
}

// Sequences gives out device sequences so that none is ever used twice, also not after a crash.
type Sequences interface {
	// Begin gives the first sequence a device may use.
	Begin(device string) (first uint64, err error)
	// Hold makes known, for good and soon, that sequences up to through are in use. It does not wait.
	Hold(device string, through uint64)
}

// heldSequences is how far ahead sequences are held.
const heldSequences = 1 << 20

// Device reads one driver. Open, Next and Close belong to one goroutine; Run uses them.
type Device struct {
	config     DeviceConfig
	host       *pluginhost.Host
	sequences  Sequences
	conductors []*Conductor

	record   func(*scan.Frame) // nil = it is not recorded
	source   Source
	stream   Frames
	living   atomic.Pointer[pluginhost.Driver] // the driver's process, for who looks after it; nil = there is none
	end      context.CancelFunc
	finite   bool // the source ends by itself: it is not started again, since that would count the same charge twice
	settings DeviceSettings
	timeline Timeline
	frame    scan.Frame
	begun    bool
	base     uint64 // sequence of the driver's sequence 0
	next     uint64 // sequence after the newest
	held     uint64 // sequences below it are held

	heard atomic.Int64 // when the newest frame came, ns of the host's monotonic clock since start
	start time.Time
	state atomic.Pointer[string] // what is wrong; nil = nothing
}

// NewDevice makes a device for the conductors that use it. epoch is the first of at least 2^20 epochs that are its own.
func NewDevice(config DeviceConfig, host *pluginhost.Host, sequences Sequences, epoch uint64, conductors []*Conductor) *Device {
	d := &Device{config: config, host: host, sequences: sequences, start: time.Now()}
	d.timeline.Begin(epoch)
	for _, c := range conductors {
		if c.Uses(config.Name) {
			d.conductors = append(d.conductors, c)
		}
	}
	return d
}

// Name is the device's name.
func (d *Device) Name() string { return d.config.Name }

// Fault says what keeps the device from giving readings; empty = nothing. Safe for concurrent use.
func (d *Device) Fault() string {
	if s := d.state.Load(); s != nil {
		return *s
	}
	if idle, may := d.config.Source.(Idler); may {
		return idle.Idle()
	}
	return ""
}

func (d *Device) faulty(err error) {
	text := err.Error()
	d.state.Store(&text)
}

// Open starts the driver, tells the conductors what it describes and opens its stream, which ends with ctx.
func (d *Device) Open(ctx context.Context) (err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("device %s: %w", d.config.Name, err)
			d.faulty(err)
			d.Close()
		}
	}()
	if err := d.beginSequences(); err != nil {
		return err
	}
	if d.source, err = d.startSource(ctx); err != nil {
		return err
	}
	description, err := d.source.Describe()
	if err != nil {
		return err
	}
	d.finite = description.GetFinite()
	d.settings = d.config.Settings(description)
	inputs := NewInputs(d.config.Name, description)
	for _, c := range d.conductors {
		err = errors.Join(err, c.Bind(inputs, d.settings))
	}
	if err != nil {
		return err
	}
	if d.config.Record != nil {
		d.record = d.config.Record(description)
	}
	streaming, end := context.WithCancel(ctx)
	d.end = end
	d.stream, err = d.source.Frames(streaming)
	return err
}

// startSource gives the device's source, which is a process of its own unless there is another.
func (d *Device) startSource(ctx context.Context) (Source, error) {
	if d.config.Source != nil {
		return d.config.Source, nil
	}
	driver, err := d.host.StartDriver(ctx, d.config.Program, d.config.Name, d.config.With)
	if err != nil {
		return nil, err
	}
	d.living.Store(driver)
	return process{driver}, nil
}

// beginSequences makes a new epoch that follows on the sequences used so far.
func (d *Device) beginSequences() error {
	d.timeline.Begin(d.timeline.Epoch() + 1)
	if !d.begun {
		first, err := d.sequences.Begin(d.config.Name)
		if err != nil {
			return fmt.Errorf("sequences: %w", err)
		}
		d.begun, d.next, d.held = true, first, first
	}
	d.base = d.next
	return nil
}

// Next waits for the next frame, gives it the device's own sequences and epoch and flags its time. io.EOF = the source has ended;
// ErrInterrupted = it paused, and Next may be called again.
func (d *Device) Next(ctx context.Context) (*scan.Frame, error) {
	f := &d.frame
	err := d.stream.Next(f)
	if errors.Is(err, ErrRenewed) {
		if err = d.beginSequences(); err == nil {
			err = d.stream.Next(f)
		}
	}
	if err != nil {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		return nil, err
	}
	f.Sequence += d.base
	if d.timeline.Check(f) {
		d.config.Log.Warn("the device's clock was set back; a new time base begins", zap.Uint64("sequence", f.Sequence))
	}
	d.next = f.Sequence + uint64(f.Count)
	if d.next+heldSequences/2 > d.held {
		d.held = d.next + heldSequences
		d.sequences.Hold(d.config.Name, d.held)
	}
	return f, nil
}

// Deliver takes a frame through the conductors.
func (d *Device) Deliver(ctx context.Context, f *scan.Frame) {
	if d.record != nil {
		d.record(f)
	}
	for _, c := range d.conductors {
		c.Apply(ctx, d.config.Name, f)
	}
}

// End says to the conductors that no more will come.
func (d *Device) End(ctx context.Context) {
	for _, c := range d.conductors {
		c.End(ctx, d.config.Name)
	}
}

// Close ends the driver and waits for it. Closing again does nothing.
func (d *Device) Close() {
	d.living.Store(nil)
	if d.end != nil {
		d.end()
	}
	if d.source != nil {
		d.source.Close()
	}
	d.end, d.source, d.stream, d.finite = nil, nil, nil, false
}

// isEnd tells the regular end of a source from a failure.
func isEnd(err error) bool { return errors.Is(err, io.EOF) }

// NextSequence gives the first sequence that was not used; false = none was given out yet. For after Run has returned.
func (d *Device) NextSequence() (next uint64, begun bool) { return d.next, d.begun }
