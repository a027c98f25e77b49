package wire

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
)

// MaxLine is the greatest length of a line in bytes, its end included.
const MaxLine = 4096

// Error is a fault at a place of a log.
type Error struct {
	Name string // of the file, as it was opened
	Line int    // counted from 1
	Err  error  // a *Fault where the column is known
}

// Error gives the place as file:line:column, and the fault.
func (e *Error) Error() string {
	if fault, inLine := errors.AsType[*Fault](e.Err); inLine {
		return fmt.Sprintf("%s:%d:%d: %v", e.Name, e.Line, fault.Column, fault.Err)
	}
	return fmt.Sprintf("%s:%d: %v", e.Name, e.Line, e.Err)
}

// Unwrap gives the fault without its place.
func (e *Error) Unwrap() error { return e.Err }

// Reader reads the lines of a log.
type Reader struct {
	name string
	in   *bufio.Reader
	line int
}

// NewReader reads the log in; name stands in front of every error.
func NewReader(in io.Reader, name string) *Reader {
	return &Reader{name: name, in: bufio.NewReaderSize(in, MaxLine)}
}

// Next reads the next line, whose interface holds until the following call; io.EOF after the last.
func (r *Reader) Next(to *Line) error {
	for {
		text, err := r.in.ReadSlice('\n')
		switch {
		case len(text) == 0 && errors.Is(err, io.EOF):
			return io.EOF
		case errors.Is(err, bufio.ErrBufferFull):
			r.line++
			return r.Fault(fmt.Errorf("the line is longer than %d bytes", MaxLine))
		case err != nil && !errors.Is(err, io.EOF):
			return &Error{Name: r.name, Line: r.line + 1, Err: err}
		}
		r.line++
		text = bytes.TrimSuffix(bytes.TrimSuffix(text, []byte("\n")), []byte("\r"))
		if blank(text) {
			continue
		}
		if err := to.Parse(text); err != nil {
			return r.Fault(err)
		}
		return nil
	}
}

// Fault says that the newest line is wrong.
func (r *Reader) Fault(err error) error { return &Error{Name: r.name, Line: r.line, Err: err} }
