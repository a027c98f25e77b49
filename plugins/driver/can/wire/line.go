package wire

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strconv"
)

// MaxSeconds bounds the times of a log, in 2043, so that no sum of two overflows.
const MaxSeconds = math.MaxInt64/4/1_000_000_000 - 1

// Line is one line of a log.
type Line struct {
	Nanos     int64  // since 1970
	Interface []byte // its name; holds until the text it was parsed from is written to
	Frame     Frame
}

// Fault is what is wrong with a line, and where.
type Fault struct {
	Column int // counted from 1, in bytes
	Err    error
}

// Error gives the place and the fault.
func (f *Fault) Error() string { return fmt.Sprintf("column %d: %v", f.Column, f.Err) }

// Unwrap gives the fault without its place.
func (f *Fault) Unwrap() error { return f.Err }

// scanner takes a line apart from its front.
type scanner struct {
	text []byte
	at   int
}

func (s *scanner) fault(format string, values ...any) error {
	return &Fault{Column: s.at + 1, Err: fmt.Errorf(format, values...)}
}

func (s *scanner) rest() []byte { return s.text[s.at:] }

// take passes over a byte if it comes next.
func (s *scanner) take(c byte) bool {
	if s.at < len(s.text) && s.text[s.at] == c {
		s.at++
		return true
	}
	return false
}

// spaces passes over one at least.
func (s *scanner) spaces() bool {
	from := s.at
	for s.take(' ') {
	}
	return s.at > from
}

// Parse reads a line without its end. An error is a *Fault.
func (l *Line) Parse(text []byte) error {
	s := scanner{text: text}
	l.Frame = Frame{}
	if err := l.parseTime(&s); err != nil {
		return err
	}
	if err := l.parseInterface(&s); err != nil {
		return err
	}
	if err := l.Frame.parse(&s); err != nil {
		return err
	}
	if s.spaces() && len(s.rest()) > 0 && (s.take('R') || s.take('T')) {
		s.spaces()
	}
	if len(s.rest()) > 0 {
		return s.fault("%s stands where the line should end", excerpt(s.rest()))
	}
	return nil
}

var errNoLine = errors.New("no line of a log, which begins as in (1700000000.123456) can0")

func (l *Line) parseTime(s *scanner) error {
	if !s.take('(') {
		return &Fault{Column: 1, Err: errNoLine}
	}
	seconds, digits := s.digits(MaxSeconds)
	switch {
	case digits == 0:
		return s.fault("the seconds of the time are missing")
	case seconds > MaxSeconds:
		return s.fault("the time is beyond %d s", int64(MaxSeconds))
	case !s.take('.'):
		return s.fault("the time has no decimal point after its seconds")
	}
	fraction, digits := s.digits(1e9)
	if digits < 1 || digits > 9 {
		return s.fault("the time has %d decimals, 1 to 9 are read", digits)
	}
	for ; digits < 9; digits++ {
		fraction *= 10
	}
	l.Nanos = seconds*1e9 + fraction
	if !s.take(')') {
		return s.fault("the time is not closed by )")
	}
	return nil
}

// digits reads decimal digits; a number above most stays one.
func (s *scanner) digits(most int64) (value int64, digits int) {
	for ; s.at < len(s.text) && s.text[s.at]-'0' <= 9; s.at++ {
		if value <= most {
			value = value*10 + int64(s.text[s.at]-'0')
		}
		digits++
	}
	return value, digits
}

func (l *Line) parseInterface(s *scanner) error {
	if !s.spaces() {
		return s.fault("a space and the name of an interface should follow the time")
	}
	from := s.at
	for s.at < len(s.text) && s.text[s.at] > ' ' && s.text[s.at] < 0x7f {
		s.at++
	}
	l.Interface = s.text[from:s.at]
	if len(l.Interface) == 0 || !s.spaces() {
		return s.fault("the name of an interface and a space should stand before the frame")
	}
	return nil
}

// Append writes a line as Parse reads it, to the microsecond as candump does, or to the nanosecond where the time needs it.
func (l *Line) Append(to []byte) []byte {
	digits, fraction := 6, l.Nanos%1e9/1000
	if l.Nanos%1000 != 0 {
		digits, fraction = 9, l.Nanos%1e9
	}
	to = fmt.Appendf(to, "(%010d.%0*d) %s ", l.Nanos/1e9, digits, fraction, l.Interface)
	return l.Frame.append(to)
}

func excerpt(text []byte) string {
	const most = 40
	if len(text) > most {
		return strconv.Quote(string(text[:most])) + "…"
	}
	return strconv.Quote(string(text))
}

// blank tells that a line holds nothing to be read.
func blank(line []byte) bool {
	line = bytes.TrimLeft(line, " \t")
	return len(line) == 0 || line[0] == '#'
}
