package plugin

import (
	"context"

	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// The messages a driver speaks in.
type (
	// Frame is consecutive scans of a device, as columns.
	Frame = pluginv1.StreamResponse
	// Column is one input's values over a frame.
	Column = pluginv1.Column
	// Input describes one column.
	Input = pluginv1.Input
	// Description describes a configured device.
	Description = pluginv1.DescribeResponse
)

// Driver reads one device.
type Driver interface {
	// Configure takes the device's name and its settings and describes the device. It is called once, before Stream. A setting that
	// is unknown or makes no sense is an error that names it (see Settings.Decode). After an error it is not called again.
	Configure(ctx context.Context, device string, settings Settings) (*Description, error)
	// Stream hands frames to emit, in the order of their sequences, until the context ends, emit fails (return its error) or the source
	// comes to its end (return nil). emit has sent the frame when it returns, so the frame and its slices may be used again;
	// it blocks while the daemon is behind. When the context has ended, Stream has a second to return before the process ends.
	Stream(ctx context.Context, emit func(*Frame) error) error
}
