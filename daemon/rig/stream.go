package rig

import (
	"context"
	"fmt"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
)

// handing is a frame on its way from a rig to the device.
type handing struct {
	session string
	frame   scan.Frame    // in the rig's sequences
	through chan struct{} // takes one word when the device has done with it; has room for it
	first   uint64        // the device's sequence of its first scan, known when it is through
}

// stream implements pipeline.Frames. It belongs to the device's goroutine.
type stream struct {
	ctx     context.Context
	source  *Source
	session string      // whose frames come; empty = none yet
	origin  uint64      // the rig's sequence that is the stream's 0
	pending *handing    // taken and not yet given
	given   *handing    // given and not yet through
	at      *scan.Frame // where it was written to
}

// Next implements pipeline.Frames.
func (s *stream) Next(f *scan.Frame) error {
	s.complete()
	if s.pending == nil {
		if err := s.wait(); err != nil {
			return err
		}
	}
	h := s.pending
	if s.session != h.session {
		another := s.session != ""
		s.session, s.origin = h.session, h.frame.Sequence
		if another {
			return pipeline.ErrRenewed
		}
	}
	s.pending, s.given, s.at = nil, h, f
	*f = h.frame
	f.Sequence -= s.origin
	return nil
}

// wait waits for a frame or for the reason why none comes for now.
func (s *stream) wait() error {
	select {
	case <-s.ctx.Done():
		return context.Cause(s.ctx)
	case why := <-s.source.breaks:
		return interrupted(why)
	case s.pending = <-s.source.handings:
	}
	select {
	case why := <-s.source.breaks: // it came before the frame
		return interrupted(why)
	default:
		return nil
	}
}

func interrupted(why error) error { return fmt.Errorf("%w: %w", pipeline.ErrInterrupted, why) }

// complete says that the frame given last is through. The device has put its own sequence there.
func (s *stream) complete() {
	if s.given != nil {
		s.given.first = s.at.Sequence
		s.given.through <- struct{}{}
		s.given = nil
	}
}
