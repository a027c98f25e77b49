package pipeline

import (
	"context"
	"errors"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// Source is where a device's frames come from: a driver's process, or what scans are pushed to. It belongs to the device's goroutine.
type Source interface {
	// Describe gives the device's inputs and its rate, or why there are none.
	Describe() (*plugin.Description, error)
	// Frames opens the one stream of frames, which ends with ctx.
	Frames(ctx context.Context) (Frames, error)
	// Close ends what Frames opened, and the process if there is one.
	Close()
}

// Frames gives a source's frames.
type Frames interface {
	// Next waits for the next frame and writes it to f, whose memory is the caller's until it calls Next again. What the caller then has
	// made of the frame before is done. io.EOF: the source has come to its end. ErrInterrupted and ErrRenewed do not end the stream; any other
	// error does.
	Next(f *scan.Frame) error
}

// Idler is a source that can say that it has nothing to read at present.
type Idler interface {
	// Idle says why nothing is read; empty = something is. Safe for concurrent use.
	Idle() string
}

var (
	// ErrInterrupted says that nothing comes for now, and why; scans that come later go on in the same time base.
	ErrInterrupted = errors.New("interrupted")
	// ErrRenewed says that the next frame begins another time base and counts its sequences from 0 again.
	ErrRenewed = errors.New("another time base begins")
)

// process is a driver's process as a source.
type process struct{ *pluginhost.Driver }

// Describe implements Source.
func (p process) Describe() (*plugin.Description, error) { return p.Description, nil }

// Frames implements Source.
func (p process) Frames(ctx context.Context) (Frames, error) { return p.Stream(ctx) }
