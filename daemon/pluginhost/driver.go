package pluginhost

import (
	"context"
	"errors"
	"fmt"
	"io"

	"google.golang.org/grpc"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// Driver is a configured driver process.
type Driver struct {
	*Process
	Description *plugin.Description
	service     pluginv1.DriverServiceClient
}

// StartDriver starts and configures a driver for a device. On an error nothing is left running.
func (h *Host) StartDriver(ctx context.Context, p Program, device string, settings map[string]any) (*Driver, error) {
	process, service, err := h.start(ctx, plugin.KindDriver, p)
	if err != nil {
		return nil, err
	}
	d := &Driver{Process: process, service: service.(pluginv1.DriverServiceClient)}
	if err := d.configure(ctx, device, settings); err != nil {
		process.Close()
		return nil, fmt.Errorf("%s: %w", process.name, err)
	}
	return d, nil
}

func (d *Driver) configure(ctx context.Context, device string, settings map[string]any) error {
	fields, err := structOf(settings)
	if err != nil {
		return err
	}
	limit := d.deadlines.Configure
	err = d.within(ctx, limit, "Configure", func(ctx context.Context) error {
		_, err := d.service.Configure(ctx, &pluginv1.DriverServiceConfigureRequest{Device: device, Settings: fields})
		return err
	})
	if err != nil {
		return err
	}
	err = d.within(ctx, limit, "Describe", func(ctx context.Context) (err error) {
		d.Description, err = d.service.Describe(ctx, &pluginv1.DescribeRequest{})
		return err
	})
	if err != nil {
		return err
	}
	return CheckDescription(d.Description)
}

// Check asks a driver that has been silent for long whether it is there at all: one that hangs does not answer, and is killed; whoever waits for
// its next frame is told why. A driver whose device is silent answers. Safe for concurrent use with all else.
func (d *Driver) Check(ctx context.Context) {
	err := d.within(ctx, d.deadlines.Answer, "Describe", func(ctx context.Context) error {
		_, err := d.service.Describe(ctx, &pluginv1.DescribeRequest{})
		return err
	})
	if err != nil && ctx.Err() == nil && !d.Exited() {
		d.command.condemn(fmt.Errorf("gave no frame for long and %w: it was killed", err))
	}
}

// Stream opens the device's one stream of frames; it ends with ctx.
func (d *Driver) Stream(ctx context.Context) (*Stream, error) {
	ctx, end := context.WithCancel(ctx)
	wire, err := d.service.Stream(ctx, &pluginv1.StreamRequest{})
	if err != nil {
		err = fmt.Errorf("%s: %w", d.name, d.fault(ctx, err))
		end()
		return nil, err
	}
	return &Stream{wire: wire, driver: d, ctx: ctx, end: end, decoder: NewDecoder(d.Description.GetInputs())}, nil
}

// Stream gives a driver's frames.
type Stream struct {
	wire    grpc.ServerStreamingClient[pluginv1.StreamResponse]
	driver  *Driver
	ctx     context.Context
	end     context.CancelFunc
	over    error // why there is no more; nil = there may be
	decoder *Decoder
	batch   pluginv1.StreamResponse
}

// Next waits for the next frame and writes it to f. f's memory is its own until the next call. At the source's end it returns
// io.EOF; any other error says what went wrong. Either ends the stream: a driver that breaks the protocol is not believed any further.
func (s *Stream) Next(f *scan.Frame) error {
	if s.over == nil {
		s.over = s.receive(f)
		if s.over != nil {
			s.end()
		}
	}
	return s.over
}

func (s *Stream) receive(f *scan.Frame) error {
	s.batch.Reset()
	if err := s.wire.RecvMsg(&s.batch); err != nil {
		if errors.Is(err, io.EOF) {
			return io.EOF
		}
		return fmt.Errorf("%s: %w", s.driver.name, s.driver.fault(s.ctx, err))
	}
	if err := s.decoder.Decode(&s.batch, f); err != nil {
		return fmt.Errorf("%s: frame at sequence %d: %w", s.driver.name, s.batch.GetFirstSequence(), err)
	}
	return nil
}
