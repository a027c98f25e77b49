package pluginhost

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"google.golang.org/grpc"
	"google.golang.org/grpc/status"

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
	ctx, cancel := context.WithTimeoutCause(ctx, configureDeadline, errors.New("no answer to Configure within "+configureDeadline.String()))
	defer cancel()
	if _, err := d.service.Configure(ctx, &pluginv1.DriverServiceConfigureRequest{Device: device, Settings: fields}); err != nil {
		return wireError(ctx, err)
	}
	if d.Description, err = d.service.Describe(ctx, &pluginv1.DescribeRequest{}); err != nil {
		return wireError(ctx, err)
	}
	return checkDescription(d.Description)
}

// wireError strips the RPC's wrapping from what the plugin said and names a deadline as such.
func wireError(ctx context.Context, err error) error {
	if cause := context.Cause(ctx); cause != nil {
		return cause
	}
	return errors.New(status.Convert(err).Message())
}

func checkDescription(d *plugin.Description) error {
	if len(d.GetInputs()) == 0 {
		return errors.New("describes no input")
	}
	if rate := d.GetNominalRateHertz(); rate-rate != 0 || rate < 0 {
		return fmt.Errorf("describes a rate of %g Hz", rate)
	}
	var names []string
	for _, input := range d.GetInputs() {
		if input.GetName() == "" || slices.Contains(names, input.GetName()) {
			return fmt.Errorf("describes an input named %q twice, or without a name", input.GetName())
		}
		names = append(names, input.GetName())
		if input.GetCodeRangeKnown() && input.GetMinimumCode() >= input.GetMaximumCode() {
			return fmt.Errorf("input %q: code range %d…%d is empty", input.GetName(), input.GetMinimumCode(), input.GetMaximumCode())
		}
	}
	return nil
}

// Stream opens the device's one stream of frames; it ends with ctx.
func (d *Driver) Stream(ctx context.Context) (*Stream, error) {
	wire, err := d.service.Stream(ctx, &pluginv1.StreamRequest{})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", d.name, wireError(ctx, err))
	}
	return &Stream{wire: wire, driver: d, ctx: ctx, inputs: len(d.Description.GetInputs())}, nil
}

// Stream gives a driver's frames.
type Stream struct {
	wire   grpc.ServerStreamingClient[pluginv1.StreamResponse]
	driver *Driver
	ctx    context.Context
	inputs int
	next   uint64 // least sequence the next frame may begin with
	frames int
	batch  pluginv1.StreamResponse
}

// Next waits for the next frame and writes it to f. f's memory is its own until the next call. At the source's end it returns
// io.EOF; any other error says what went wrong and ends the stream: a driver that breaks the protocol is not believed any further.
func (s *Stream) Next(f *scan.Frame) error {
	s.batch.Reset()
	if err := s.wire.RecvMsg(&s.batch); err != nil {
		if errors.Is(err, io.EOF) {
			return io.EOF
		}
		return fmt.Errorf("%s: %w", s.driver.name, wireError(s.ctx, err))
	}
	if err := s.accept(&s.batch, f); err != nil {
		return fmt.Errorf("%s: frame at sequence %d: %w", s.driver.name, s.batch.GetFirstSequence(), err)
	}
	return nil
}
