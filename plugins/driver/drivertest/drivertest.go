// Package drivertest is the conformance suite for drivers: what the daemon relies on beyond the types.
//
//	func TestConformance(t *testing.T) {
//		drivertest.Run(t, func() plugin.Driver { return mydriver.New() }, map[string]any{"port": "…"})
//	}
//
// or, of an executable in any language,
//
//	func TestConformance(t *testing.T) {
//		drivertest.RunCommand(t, plugintest.Executable{Path: "./mydriver", Plaintext: true}, map[string]any{"port": "…"})
//	}
//
// Run takes a few seconds of real time for a device that measures in real time, and needs no daemon. It starts goroutines and
// waits for them; a driver that does not end its stream fails the test after a grace.
package drivertest

import (
	"context"
	"errors"
	"maps"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// How long the suite listens to a device, and how long a stream may take to end.
const (
	listen     = 2 * time.Second
	grace      = 2 * time.Second
	mostFrames = 1000
	mostLate   = 8 // frames that may come after the context has ended
)

// Run checks drivers made by open and configured with settings. Every driver made is used for one stream.
//
// A stream as fast as possible (the setting `speed` is 0) from a source that ends by itself is played twice, whole, and must give
// the same frames; of any other, what comes within seconds is checked.
func Run(t *testing.T, open func() plugin.Driver, settings map[string]any) {
	t.Helper()
	suite{func(*testing.T) plugin.Driver { return open() }, settings}.run(t)
}

func (s suite) run(t *testing.T) {
	t.Helper()
	t.Run("describes its inputs", s.describes)
	t.Run("gives sound frames", s.givesSoundFrames)
	if _, description := s.start(t); s.repeatable(description) {
		t.Run("gives the same again", s.givesTheSameAgain)
	}
	t.Run("ends with the context before a frame", s.endsBeforeAFrame)
	t.Run("ends with the context after a frame", s.endsAfterAFrame)
	t.Run("returns the error of emit", s.returnsTheErrorOfEmit)
	t.Run("refuses an unknown setting by its name", s.refusesUnknownSetting)
}

type suite struct {
	open     func(*testing.T) plugin.Driver // until the test ends
	settings map[string]any
}

// start gives a configured driver.
func (s suite) start(t *testing.T) (plugin.Driver, *plugin.Description) {
	t.Helper()
	settings, err := plugin.NewSettings(s.settings)
	if err != nil {
		t.Fatal(err)
	}
	driver := s.open(t)
	description, err := driver.Configure(t.Context(), "device", settings)
	if err != nil {
		t.Fatalf("Configure: %v", err)
	}
	return driver, description
}

func (s suite) describes(t *testing.T) {
	_, description := s.start(t)
	if err := checkDescription(description); err != nil {
		t.Error(err)
	}
}

// repeatable tells that the whole stream can be awaited and must come out the same.
func (s suite) repeatable(d *plugin.Description) bool {
	speed, given := s.settings["speed"]
	return d.GetFinite() && given && (speed == 0 || speed == 0.0)
}

func (s suite) givesSoundFrames(t *testing.T) {
	driver, description := s.start(t)
	checker := checker{description: description}
	if err := s.play(t, driver, description, checker.check); err != nil {
		t.Error(err)
	}
	if checker.frames == 0 {
		t.Error("no frame came")
	}
}

func (s suite) givesTheSameAgain(t *testing.T) {
	driver, description := s.start(t)
	var first []*plugin.Frame
	err := s.play(t, driver, description, func(f *plugin.Frame) error {
		first = append(first, proto.CloneOf(f))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	driver, description = s.start(t)
	again := 0
	err = s.play(t, driver, description, func(f *plugin.Frame) error {
		if again++; again > len(first) || !proto.Equal(f, first[again-1]) {
			return errors.New("a frame differs from the one before, or there was none")
		}
		return nil
	})
	if err != nil || again != len(first) {
		t.Errorf("frame %d of %d: %v", again, len(first), err)
	}
}

var errEnough = errors.New("the suite has seen enough")

// play hands the frames to take until the source ends or enough has been seen, and gives the first error of take or of the stream.
func (s suite) play(t *testing.T, driver plugin.Driver, d *plugin.Description, take func(*plugin.Frame) error) error {
	t.Helper()
	ctx := t.Context()
	if !s.repeatable(d) {
		limited, cancel := context.WithTimeoutCause(ctx, listen, errEnough)
		defer cancel()
		ctx = limited
	}
	frames := 0
	err := driver.Stream(ctx, func(f *plugin.Frame) error {
		if err := take(f); err != nil {
			return err
		}
		if frames++; frames == mostFrames && !s.repeatable(d) {
			return errEnough
		}
		return nil
	})
	if ctx.Err() != nil || errors.Is(err, errEnough) {
		return nil
	}
	return err
}

func (s suite) endsBeforeAFrame(t *testing.T) {
	driver, _ := s.start(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	mustEnd(t, ctx, driver, func(*plugin.Frame) error { return nil })
}

func (s suite) endsAfterAFrame(t *testing.T) {
	driver, _ := s.start(t)
	ctx, cancel := context.WithTimeout(t.Context(), listen)
	defer cancel()
	mustEnd(t, ctx, driver, func(*plugin.Frame) error {
		cancel()
		return nil
	})
}

// mustEnd streams, and wants the stream to end soon after the context, without an error or with the context's.
func mustEnd(t *testing.T, ctx context.Context, driver plugin.Driver, emit func(*plugin.Frame) error) {
	t.Helper()
	ended, late := make(chan error, 1), 0
	go func() {
		ended <- driver.Stream(ctx, func(f *plugin.Frame) error {
			if ctx.Err() != nil {
				late++
			}
			return emit(f)
		})
	}()
	<-ctx.Done()
	select {
	case err := <-ended:
		if err != nil && !errors.Is(err, ctx.Err()) && !errors.Is(err, context.Cause(ctx)) {
			t.Errorf("Stream: %v, want the context's error or none", err)
		}
		if late > mostLate {
			t.Errorf("%d frames came after the context had ended, want %d at most", late, mostLate)
		}
	case <-time.After(grace):
		t.Fatalf("Stream goes on %v after its context has ended", grace)
	}
}

func (s suite) returnsTheErrorOfEmit(t *testing.T) {
	driver, _ := s.start(t)
	ctx, cancel := context.WithTimeout(t.Context(), listen)
	defer cancel()
	refused, calls := errors.New("refused"), 0
	err := driver.Stream(ctx, func(*plugin.Frame) error {
		calls++
		return refused
	})
	switch {
	case calls == 0:
		t.Error("no frame came")
	case calls > 1:
		t.Errorf("emit was called %d times, want no call after it failed", calls)
	case !errors.Is(err, refused):
		t.Errorf("Stream: %v, want the error of emit", err)
	}
}

func (s suite) refusesUnknownSetting(t *testing.T) {
	const unknown = "no_such_setting"
	with := map[string]any{unknown: true}
	maps.Copy(with, s.settings)
	settings, err := plugin.NewSettings(with)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.open(t).Configure(t.Context(), "device", settings); err == nil || !strings.Contains(err.Error(), unknown) {
		t.Errorf("Configure: %v, want an error that names %s", err, unknown)
	}
}
