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
	driver   *pluginhost.Driver
	living   atomic.Pointer[pluginhost.Driver] // the same, for who looks after it; nil = none
	stream   *pluginhost.Stream
	end      context.CancelFunc
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
	return ""
}

// Open starts the driver, tells the conductors what it describes and opens its stream, which ends with ctx.
func (d *Device) Open(ctx context.Context) (err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("device %s: %w", d.config.Name, err)
			d.Close()
		}
	}()
	if err := d.beginSequences(); err != nil {
		return err
	}
	if d.driver, err = d.host.StartDriver(ctx, d.config.Program, d.config.Name, d.config.With); err != nil {
		return err
	}
	d.living.Store(d.driver)
	d.settings = d.config.Settings(d.driver.Description)
	inputs := NewInputs(d.config.Name, d.driver.Description)
	for _, c := range d.conductors {
		err = errors.Join(err, c.Bind(inputs, d.settings))
	}
	if err != nil {
		return err
	}
	if d.config.Record != nil {
		d.record = d.config.Record(d.driver.Description)
	}
	streaming, end := context.WithCancel(ctx)
	d.end = end
	d.stream, err = d.driver.Stream(streaming)
	return err
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

// Next waits for the next frame, gives it the device's own sequences and epoch and flags its time. io.EOF = the source has ended.
func (d *Device) Next(ctx context.Context) (*scan.Frame, error) {
	f := &d.frame
	if err := d.stream.Next(f); err != nil {
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
	if d.driver != nil {
		d.driver.Close()
	}
	d.end, d.driver, d.stream = nil, nil, nil
}

// finite tells that the source ends by itself: it is not started again, since that would count the same charge twice.
func (d *Device) finite() bool { return d.driver != nil && d.driver.Description.GetFinite() }

// isEnd tells the regular end of a source from a failure.
func isEnd(err error) bool { return errors.Is(err, io.EOF) }

// NextSequence gives the first sequence that was not used; false = none was given out yet. For after Run has returned.
func (d *Device) NextSequence() (next uint64, begun bool) { return d.next, d.begun }
