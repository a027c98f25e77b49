package drivertest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/plugins/plugin"
	"github.com/ampledger/ampledger/plugins/plugintest"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// RunCommand checks an executable that serves a driver: its process and what it gives, as Run does. It starts about a dozen processes, one
// after the other, and ends them.
func RunCommand(t *testing.T, x plugintest.Executable, settings map[string]any) {
	t.Helper()
	x.Run(t, plugin.KindDriver)
	open := func(t *testing.T) plugin.Driver {
		r := &remote{executable: x}
		t.Cleanup(func() {
			if err := r.close(); err != nil {
				t.Error(err)
			}
		})
		return r
	}
	suite{open, settings}.run(t)
}

// remote is a driver in a process of its own, which starts when it is configured.
type remote struct {
	executable plugintest.Executable
	process    *plugintest.Process
	service    pluginv1.DriverServiceClient
}

// Configure implements plugin.Driver.
func (r *remote) Configure(ctx context.Context, device string, settings plugin.Settings) (_ *plugin.Description, err error) {
	if r.process, err = r.executable.Start(context.WithoutCancel(ctx), plugin.KindDriver); err != nil {
		return nil, err
	}
	r.service = r.process.Service().(pluginv1.DriverServiceClient)
	ctx, cancel := context.WithTimeout(ctx, 2*plugintest.Patience)
	defer cancel()
	_, err = r.service.Configure(ctx, &pluginv1.DriverServiceConfigureRequest{Device: device, Settings: settings.Struct()})
	if code := status.Code(err); err != nil && code != codes.InvalidArgument {
		return nil, fmt.Errorf("status %v, want InvalidArgument if it is the settings", code) // what it said does not count
	}
	if err != nil {
		return nil, err
	}
	return r.service.Describe(ctx, &pluginv1.DescribeRequest{})
}

// Stream implements plugin.Driver.
func (r *remote) Stream(ctx context.Context, emit func(*plugin.Frame) error) error {
	inner, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := r.service.Stream(inner, &pluginv1.StreamRequest{})
	for err == nil {
		var frame *plugin.Frame
		if frame, err = stream.Recv(); err == nil {
			err = emit(frame)
		}
	}
	switch {
	case errors.Is(err, io.EOF):
		return nil
	case ctx.Err() != nil:
		return ctx.Err()
	}
	return err
}

func (r *remote) close() error {
	if r.process == nil {
		return nil
	}
	return r.process.Close()
}
