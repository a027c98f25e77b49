package table

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"
)

// MaxLine is the greatest length of a line in bytes, without its end.
const MaxLine = 1 << 20

// Faults of a file, found by errors.Is.
var (
	ErrEmpty       = errors.New("there is no header, the file is empty or all comment")
	ErrLineTooLong = fmt.Errorf("the line is longer than %d bytes", MaxLine)
	ErrOpenQuote   = errors.New("a quote is opened and not closed on its line")
	ErrAfterQuote  = errors.New("text follows a closing quote, a quote within quotes is written twice")
	ErrEncoding    = errors.New("the header is not UTF-8")
)

var byteOrderMark = []byte("\xef\xbb\xbf")

// Reader reads the rows of one recording.
type Reader struct {
	name   string
	in     *bufio.Reader
	line   int
	header []string
	cells  [][]byte
}

// NewReader reads the header of the recording in; name stands in front of every error.
func NewReader(in io.Reader, name string) (*Reader, error) {
	r := &Reader{name: name, in: bufio.NewReaderSize(in, MaxLine+len("\r\n"))}
	if err := r.readHeader(); err != nil {
		return nil, err
	}
	return r, nil
}

// Header gives the names of the columns in their order. A name is unique, or empty.
func (r *Reader) Header() []string { return r.header }

// Line gives the number of the newest line read, counted from 1.
func (r *Reader) Line() int { return r.line }

// Next gives the cells of the next row, which hold until the following call; io.EOF after the last row.
func (r *Reader) Next() ([][]byte, error) {
	line, err := r.readLine()
	if err != nil {
		return nil, err
	}
	if err := r.split(line); err != nil {
		return nil, err
	}
	if len(r.cells) != len(r.header) {
		return nil, r.Fault(-1, fmt.Errorf("%s where the header has %s", count(len(r.cells), "cell"), count(len(r.header), "column")))
	}
	return r.cells, nil
}

// Fault says that the newest row is wrong in a column, or as a whole if column is negative.
func (r *Reader) Fault(column int, err error) error {
	fault := &Error{Name: r.name, Line: r.line, Err: err}
	if column >= 0 {
		fault.Column, fault.InColumn = r.header[column], true
	}
	return fault
}

func (r *Reader) readHeader() error {
	line, err := r.readLine()
	if errors.Is(err, io.EOF) {
		return &Error{Name: r.name, Err: ErrEmpty}
	}
	if err != nil {
		return err
	}
	if !utf8.Valid(line) {
		return r.Fault(-1, ErrEncoding)
	}
	if err := r.split(line); err != nil {
		return err
	}
	seen := make(map[string]bool)
	for _, cell := range r.cells {
		name := string(cell)
		if name != "" && seen[name] {
			return r.Fault(-1, fmt.Errorf("two columns are named %q, rename one of them", name))
		}
		seen[name] = true
		r.header = append(r.header, name)
	}
	return nil
}

// readLine gives the next line that is neither comment nor blank, without its end.
func (r *Reader) readLine() ([]byte, error) {
	for {
		line, err := r.in.ReadSlice('\n')
		if err != nil && (!errors.Is(err, io.EOF) || len(line) == 0) {
			return nil, r.lineError(err)
		}
		if r.line++; r.line == 1 {
			line = bytes.TrimPrefix(line, byteOrderMark)
		}
		line = bytes.TrimSuffix(bytes.TrimSuffix(line, []byte("\n")), []byte("\r"))
		if len(line) > MaxLine {
			return nil, r.Fault(-1, ErrLineTooLong)
		}
		if len(trimLeft(line)) > 0 && line[0] != '#' {
			return line, nil
		}
	}
}

func (r *Reader) lineError(err error) error {
	if errors.Is(err, io.EOF) {
		return io.EOF
	}
	if errors.Is(err, bufio.ErrBufferFull) {
		err = ErrLineTooLong
	}
	return &Error{Name: r.name, Line: r.line + 1, Err: err}
}

func (r *Reader) split(line []byte) error {
	r.cells = r.cells[:0]
	for more := true; more; {
		var cell []byte
		var err error
		if cell, line, more, err = nextCell(line); err != nil {
			return r.Fault(-1, err)
		}
		r.cells = append(r.cells, cell)
	}
	return nil
}

func count(n int, of string) string {
	if n == 1 {
		return "1 " + of
	}
	return fmt.Sprintf("%d %ss", n, of)
}
