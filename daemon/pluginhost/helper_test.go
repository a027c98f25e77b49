//go:build unix

package pluginhost_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/plugin"
)

type with = map[string]any

// lines hands on the messages of a log, as they come. Nobody has to take them.
type lines chan string

// newHost starts the characters. What they write to their standard error can be had from the channel.
func newHost(t testing.TB) (*pluginhost.Host, lines) {
	t.Helper()
	executable, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	written := make(lines, 1000)
	log := zap.New(&tap{LevelEnabler: zapcore.InfoLevel, to: written})
	return &pluginhost.Host{
		Executable: executable, Arguments: []string{"plugin"}, Folder: filepath.Dir(executable), Log: log,
		Deadlines: pluginhost.Deadlines{Start: 20 * time.Second, Configure: 20 * time.Second, Answer: 20 * time.Second},
	}, written
}

// tap is a log core that puts messages into a channel and drops what finds no room.
type tap struct {
	zapcore.LevelEnabler
	to lines
}

func (c *tap) With([]zapcore.Field) zapcore.Core { return c }
func (c *tap) Sync() error                       { return nil }
func (c *tap) Check(e zapcore.Entry, to *zapcore.CheckedEntry) *zapcore.CheckedEntry {
	return to.AddCore(e, c)
}
func (c *tap) Write(e zapcore.Entry, _ []zapcore.Field) error {
	select {
	case c.to <- e.Message:
	default:
	}
	return nil
}

// shipped is a character as the daemon starts it.
func shipped(name string) pluginhost.Program {
	return pluginhost.Program{Shipped: name, Environment: []string{"GORACE"}}
}

// startDriver starts a driver that must start; it is closed with the test, and its process must be gone then.
func startDriver(t testing.TB, h *pluginhost.Host, name string, settings with) *pluginhost.Driver {
	t.Helper()
	d, err := h.StartDriver(t.Context(), shipped(name), "adc0", settings)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { closed(t, d.Process) })
	return d
}

func startEstimator(t testing.TB, h *pluginhost.Host, name string, settings with, state []byte) *pluginhost.Estimator {
	t.Helper()
	e, err := h.StartEstimator(t.Context(), shipped(name), pack, settings, pluginhost.Kept{State: state})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		e.Close()
		closed(t, e.Process)
	})
	return e
}

var pack = plugin.Conductor{Name: "pack", Channels: []*plugin.Channel{{Name: "shunt", FullScaleAmperes: 500}, {Name: "hall"}}}

// closed closes a process and wants it gone.
func closed(t testing.TB, p *pluginhost.Process) {
	t.Helper()
	pid := p.PID()
	p.Close()
	if !p.Exited() || !vanished(pid) {
		t.Errorf("process %d is there after Close", pid)
	}
}

func open(t testing.TB, d *pluginhost.Driver) *pluginhost.Stream {
	t.Helper()
	s, err := d.Stream(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func wantError(t testing.TB, err error, want string) {
	t.Helper()
	if err == nil || err.Error() != want {
		t.Errorf("error\n %v\nwant\n %s", err, want)
	}
}

// cancelAt gives a context that is cancelled when a line is written.
func cancelAt(t testing.TB, line string, written lines) context.Context {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	go func() {
		defer cancel()
		for {
			select {
			case <-ctx.Done():
				return
			case text := <-written:
				if text == line {
					return
				}
			}
		}
	}()
	return ctx
}
