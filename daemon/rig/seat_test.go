package rig

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
)

// handed is what came of handing a frame over in a goroutine of its own.
func handed(ctx context.Context, seat *Seat, first uint64) <-chan error {
	ended := make(chan error, 1)
	go func() {
		_, err := seat.Hand(ctx, framed(first, 3))
		ended <- err
	}()
	return ended
}

// TestARigWaitsForTheDevice hands two frames over: each waits until the device takes it, and until it is through. There is room for none beside.
func TestARigWaitsForTheDevice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := two("live")
		frames, err := s.Frames(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		seat, err := s.Attach(t.Context(), Session{"alpha", "one"})
		if err != nil {
			t.Fatal(err)
		}
		handed := 0
		go func() {
			for n := range uint64(2) {
				if _, err := seat.Hand(t.Context(), framed(3*n, 3)); err != nil {
					t.Error(err)
				}
				handed++
			}
		}()
		var f scan.Frame
		for taken := range 2 {
			synctest.Wait()
			if handed != max(0, taken-1) {
				t.Fatalf("%d frames are through, and the device has taken %d", handed, taken)
			}
			if err := frames.Next(&f); err != nil {
				t.Fatal(err)
			}
		}
		frames.(*stream).complete()
		synctest.Wait()
		if handed != 2 {
			t.Fatalf("%d frames are through of two", handed)
		}
	})
}

// TestHandEndsWithoutADevice hands a frame over that no device takes: the rig's context ends it, and so does the daemon.
func TestHandEndsWithoutADevice(t *testing.T) {
	seat := seated(t, two("live"))
	ctx, cancel := context.WithCancel(t.Context())
	ended := handed(ctx, seat, 0)
	cancel()
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Errorf("the rig's own end: %v", err)
	}
	if next, _ := seat.Next(); next != 0 {
		t.Errorf("a frame that was not taken moved the sequence to %d", next)
	}
	seat.Leave(false)
	s := seat.source
	seat, err := s.Attach(t.Context(), Session{"alpha", "one"})
	if err != nil {
		t.Fatal(err)
	}
	s.Stop()
	s.Stop()
	if err := <-handed(t.Context(), seat, 0); !errors.Is(err, ErrStopping) {
		t.Errorf("the daemon's end: %v", err)
	}
	seat.Leave(false)
	if _, err := s.Attach(t.Context(), Session{"alpha", "one"}); !errors.Is(err, ErrStopping) {
		t.Errorf("who comes then is told %v", err)
	}
}

// TestWhatTheDeviceTookLastIsThrough stops the daemon when the device has done with a frame, and while it has not.
func TestWhatTheDeviceTookLastIsThrough(t *testing.T) {
	for _, through := range []bool{true, false} {
		synctest.Test(t, func(t *testing.T) {
			s := two("live")
			ctx, cancel := context.WithCancel(t.Context())
			frames, err := s.Frames(ctx)
			if err != nil {
				t.Fatal(err)
			}
			seat, err := s.Attach(t.Context(), Session{"alpha", "one"})
			if err != nil {
				t.Fatal(err)
			}
			ended := handed(t.Context(), seat, 0)
			var f scan.Frame
			if err := frames.Next(&f); err != nil {
				t.Fatal(err)
			}
			cancel()
			if through {
				if err := frames.Next(&f); !errors.Is(err, context.Canceled) {
					t.Fatal(err)
				}
			}
			s.Stop()
			synctest.Wait()
			if err := <-ended; through != (err == nil) || !through && !errors.Is(err, ErrStopping) {
				t.Errorf("through: %v, and the rig is told %v", through, err)
			}
		})
	}
}

// TestABreakComesBeforeTheFrameAfterIt lets a rig break off and hand a frame over before the device looks.
func TestABreakComesBeforeTheFrameAfterIt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := two("live")
		frames, err := s.Frames(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for i := range 20 {
			seat, err := s.Attach(t.Context(), Session{"alpha", "one"})
			if err != nil {
				t.Fatal(err)
			}
			seat.Leave(true)
			if seat, err = s.Attach(t.Context(), Session{"alpha", "one"}); err != nil {
				t.Fatal(err)
			}
			ended := handed(t.Context(), seat, uint64(3*i))
			synctest.Wait() // it waits for the device
			var f scan.Frame
			if err := frames.Next(&f); !errors.Is(err, pipeline.ErrInterrupted) {
				t.Fatalf("first comes %v", err)
			}
			if err := frames.Next(&f); err != nil || f.Sequence != uint64(3*i) {
				t.Fatalf("then comes %d, %v", f.Sequence, err)
			}
			frames.(*stream).complete()
			if err := <-ended; err != nil {
				t.Fatal(err)
			}
			seat.Leave(false)
		}
	})
}

// TestARigThatComesBackWaitsForItselfToLeave attaches twice with one session: the second waits until the first has left, and no longer than that is bearable.
func TestARigThatComesBackWaitsForItselfToLeave(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := two("live")
		first := seated(t, s)
		if _, err := s.Attach(t.Context(), Session{"alpha", "one"}); !errors.Is(err, ErrTaken) {
			t.Errorf("the first one does not leave: %v", err)
		}
		got := make(chan error, 1)
		go func() {
			_, err := s.Attach(t.Context(), Session{"alpha", "one"})
			got <- err
		}()
		synctest.Wait()
		first.Leave(true)
		if err := <-got; err != nil {
			t.Errorf("the first one has left: %v", err)
		}
	})
}
