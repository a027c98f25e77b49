package rig

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// Why a rig or a frame is refused.
var (
	ErrFaulty   = errors.New("the device does not work")
	ErrTaken    = errors.New("another rig feeds the device")
	ErrStopping = errors.New("the daemon is stopping")
	ErrRepeated = errors.New("the sequence was given already")
	ErrBeyond   = errors.New("the sequence is too far ahead")
	ErrInvalid  = errors.New("the frame is not as it should be")
)

const (
	// mostLost is how many scans a frame may leave out. Sequences are given out once for ever, and a device must not run out of them.
	mostLost = 1 << 40
	// attachWithin is how long is waited for a device that is being opened, and for a rig that comes back to have left.
	attachWithin = 5 * time.Second
)

// Seat is a rig's place at a device.
type Seat struct {
	Session Session

	source  *Source
	left    chan struct{}
	decoder *pluginhost.Decoder
	wire    plugin.Frame
	flags   [][]scan.Quality // of each input, used again from frame to frame
	handing handing
	resumed bool
	next    uint64
	begun   bool // next is meant
}

// Session names a rig and one run of its clock and numbering.
type Session struct{ Rig, Name string }

// Attach gives the seat to a rig. ErrTaken: another rig has it. A rig that comes back with its session waits for its connection of before to end.
func (s *Source) Attach(ctx context.Context, session Session) (*Seat, error) {
	if s.fault != nil {
		return nil, fmt.Errorf("%w: %w", ErrFaulty, s.fault)
	}
	ctx, cancel := context.WithTimeout(ctx, attachWithin)
	defer cancel()
	select {
	case <-s.tried:
	case <-s.stopping:
	case <-ctx.Done():
	}
	for {
		if s.isStopping() {
			return nil, ErrStopping
		}
		seat, before := s.take(session)
		switch {
		case seat != nil:
			return seat, nil
		case before == nil:
			return nil, fmt.Errorf("%w: device %q is not open", ErrFaulty, s.device)
		}
		taken := fmt.Errorf("%w: rig %q feeds device %q", ErrTaken, before.Session.Rig, s.device)
		if before.Session != session {
			return nil, taken
		}
		select {
		case <-before.left:
		case <-s.stopping:
		case <-ctx.Done():
			return nil, taken
		}
	}
}

// take takes the seat, or gives who has it; neither = the device is not open.
func (s *Source) take(session Session) (seat, before *Seat) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.isOpen || s.seat != nil {
		return nil, s.seat
	}
	seat = &Seat{
		Session: session, source: s, left: make(chan struct{}), decoder: pluginhost.NewDecoder(s.description.GetInputs()),
		handing: handing{session: session.Name, through: make(chan struct{}, 1)},
	}
	if s.session == session.Name {
		seat.resumed, seat.begun, seat.next = true, s.begun, s.next
	}
	s.seat, s.session, s.begun, s.next = seat, session.Name, seat.begun, seat.next
	return seat, nil
}

// Next is the sequence expected next, 0 before the first frame; false = the session is not known, and its first frame begins anywhere.
func (s *Seat) Next() (sequence uint64, resumed bool) { return s.next, s.resumed }

// Hand hands a frame over and returns when it is through, with the device's sequence of its first scan. Its memory must not be used again before,
// and never after an error. ErrRepeated, ErrBeyond, ErrInvalid: it was refused and changed nothing. ErrStopping, or ctx's error: the seat is of no more use;
// whether the frame was taken, who attaches next with the same session learns.
func (s *Seat) Hand(ctx context.Context, f *Frame) (first uint64, err error) {
	if err := s.check(f); err != nil {
		return 0, err
	}
	select {
	case s.source.handings <- &s.handing:
	case <-s.source.stopping:
		return 0, ErrStopping
	case <-ctx.Done():
		return 0, context.Cause(ctx)
	}
	s.advance()
	select {
	case <-s.handing.through:
		return s.handing.first, nil
	case <-ctx.Done():
		return 0, context.Cause(ctx)
	case <-s.source.stopping:
	}
	select {
	case <-s.handing.through: // the last one the device took
		return s.handing.first, nil
	default:
		return 0, ErrStopping
	}
}

// check decodes a frame or refuses it.
func (s *Seat) check(f *Frame) error {
	switch first := f.GetFirstSequence(); {
	case s.begun && first < s.next:
		return fmt.Errorf("%w: sequence %d, and %d is due", ErrRepeated, first, s.next)
	case s.begun && first-s.next > mostLost:
		return fmt.Errorf("%w: sequence %d leaves %d scans out, and %d are the most; begin a new session", ErrBeyond, first, first-s.next, uint64(mostLost))
	}
	if err := s.decode(f, &s.handing.frame); err != nil {
		return fmt.Errorf("%w: frame at sequence %d: %w", ErrInvalid, f.GetFirstSequence(), err)
	}
	return nil
}

// advance notes that the device took the frame.
func (s *Seat) advance() {
	s.next, s.begun = s.handing.frame.Sequence+uint64(s.handing.frame.Count), true
	s.source.mu.Lock()
	defer s.source.mu.Unlock()
	s.source.begun, s.source.next = true, s.next
}

// Leave gives the seat back. brokeOff = it was not the rig that left, nor was it refused.
func (s *Seat) Leave(brokeOff bool) {
	s.source.mu.Lock()
	defer s.source.mu.Unlock()
	s.source.seat = nil
	close(s.left)
	if brokeOff && !s.source.lockstep {
		s.source.broke(fmt.Errorf("the connection of rig %q broke off before its sequence %d", s.Session.Rig, s.next))
	}
}

// broke tells the device why a rig broke off, in place of what it has not yet taken.
func (s *Source) broke(why error) {
	select {
	case <-s.breaks:
	default:
	}
	s.breaks <- why
}
