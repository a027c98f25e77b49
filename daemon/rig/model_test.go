package rig

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
)

// world is a source with a device that takes its frames, beside the obvious account of what must come of them.
type world struct {
	source  *Source
	live    bool
	seat    *Seat
	session string      // of who came last
	heard   chan string // what the device took, in order
	due     uint64      // expected next in the session
	begun   bool        // a frame of it was taken
	origin  uint64
	newest  string // session whose frame was taken last
}

// open opens the device, which tells what it takes until the context ends.
func open(ctx context.Context, t *rapid.T, live bool) *world {
	mode := lockstep
	if live {
		mode = "live"
	}
	w := &world{source: two(mode), live: live, heard: make(chan string, 16)}
	frames, err := w.source.Frames(ctx)
	if err != nil {
		t.Fatal(err)
	}
	go func() {
		defer close(w.heard)
		var f scan.Frame
		for {
			err := frames.Next(&f)
			switch {
			case errors.Is(err, pipeline.ErrInterrupted):
				w.heard <- "interrupted"
			case errors.Is(err, pipeline.ErrRenewed):
				w.heard <- "renewed"
			case err != nil:
				return
			default:
				w.heard <- fmt.Sprintf("%d scans at %d", f.Count, f.Sequence)
				f.Sequence += 1_000_000 // as the device puts its own there
			}
		}
	}()
	return w
}

// attach takes the seat for a session, if it is free.
func (w *world) attach(ctx context.Context, t *rapid.T) {
	session := rapid.SampledFrom([]string{"one", "two"}).Draw(t, "session")
	if w.seat != nil {
		if session == w.session {
			return // would wait for the other to leave
		}
		if _, err := w.source.Attach(ctx, Session{"beta", session}); !errors.Is(err, ErrTaken) {
			t.Fatalf("a second rig is told %v", err)
		}
		return
	}
	seat, err := w.source.Attach(ctx, Session{"alpha", session})
	if err != nil {
		t.Fatal(err)
	}
	next, resumed := seat.Next()
	if w.session != session {
		w.due, w.begun = 0, false
	}
	if resumed != (w.session == session) || next != w.due {
		t.Fatalf("session %s after %s goes on at %d, %v; %d is due", session, w.session, next, resumed, w.due)
	}
	w.seat, w.session = seat, session
}

// hand hands a frame over that begins somewhere near what is expected.
func (w *world) hand(ctx context.Context, t *rapid.T) {
	if w.seat == nil {
		return
	}
	frame := framed(w.due+uint64(rapid.IntRange(0, 3).Draw(t, "skipped")), rapid.IntRange(1, 5).Draw(t, "scans"))
	if w.begun && w.due > 0 && rapid.IntRange(0, 4).Draw(t, "repeated") == 0 {
		frame.FirstSequence = w.due - 1
	}
	first, err := w.seat.Hand(ctx, frame)
	if w.begun && frame.FirstSequence < w.due {
		if !errors.Is(err, ErrRepeated) {
			t.Fatalf("sequence %d, and %d is due: %v", frame.FirstSequence, w.due, err)
		}
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	if w.newest != w.session {
		if w.newest != "" {
			w.want(t, "renewed")
		}
		w.newest, w.origin = w.session, frame.FirstSequence
	}
	w.due, w.begun = frame.FirstSequence+uint64(frame.ScanCount), true
	w.want(t, fmt.Sprintf("%d scans at %d", frame.ScanCount, frame.FirstSequence-w.origin))
	if first != frame.FirstSequence-w.origin+1_000_000 {
		t.Fatalf("the frame is said to be at %d", first)
	}
}

// leave gives the seat back, well or not.
func (w *world) leave(t *rapid.T) {
	if w.seat == nil {
		return
	}
	brokeOff := rapid.Bool().Draw(t, "broke off")
	w.seat.Leave(brokeOff)
	w.seat = nil
	if brokeOff && w.live {
		w.want(t, "interrupted")
	}
}

func (w *world) want(t *rapid.T, what string) {
	if got := <-w.heard; got != what {
		t.Fatalf("the device took %q, want %q", got, what)
	}
}

// TestAgainstTheObvious lets rigs come, hand frames over and leave as they like.
func TestAgainstTheObvious(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ctx, cancel := context.WithCancel(t.Context())
		w := open(ctx, t, rapid.Bool().Draw(t, "live"))
		defer func() {
			cancel()
			for what := range w.heard {
				t.Errorf("the device took %q", what)
			}
		}()
		t.Repeat(map[string]func(*rapid.T){
			"attach": func(t *rapid.T) { w.attach(ctx, t) },
			"hand":   func(t *rapid.T) { w.hand(ctx, t) },
			"hands":  func(t *rapid.T) { w.hand(ctx, t) },
			"leave":  func(t *rapid.T) { w.leave(t) },
			"": func(t *rapid.T) {
				if idle := w.source.Idle() != ""; idle != (w.seat == nil) {
					t.Fatalf("idle: %v", idle)
				}
			},
		})
	})
}
