package columns

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"

	"github.com/parquet-go/parquet-go"

	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
)

// magic begins and ends a Parquet file; before the last one stands the length of the table of contents.
const magic = "PAR1"

// File is a Parquet file.
type File struct {
	name   string
	disk   *os.File
	read   *parquet.File
	fields []field
	head   *recorded.Head
	own    int
}

// Open opens a file and reads its table of contents. The caller closes it.
func Open(path string) (*File, error) {
	f := &File{name: path}
	if err := f.open(); err != nil {
		if f.disk != nil {
			err = errors.Join(err, f.disk.Close())
		}
		return nil, err
	}
	return f, nil
}

// Close closes the file.
func (f *File) Close() error { return f.disk.Close() }

// Name is the file's, as it was opened.
func (f *File) Name() string { return f.name }

// Rows is how many there are.
func (f *File) Rows() int64 { return f.read.NumRows() }

// Header gives the names of the columns in their order; of a nested one all names with dots between.
func (f *File) Header() []string {
	names := make([]string, len(f.fields))
	for i := range f.fields {
		names[i] = f.fields[i].name
	}
	return names
}

// Head says what a recording of the daemon holds; nil = the file is none.
func (f *File) Head() *recorded.Head { return f.head }

// Own is how many columns of a recording of the daemon are its own, before the inputs'; 0 = it is none.
func (f *File) Own() int { return f.own }

// Numeric gives the fault of a column that cannot be read as numbers; nil = it can.
func (f *File) Numeric(column int) error { return f.fault(column, f.fields[column].wrong) }

// Double tells that a column holds doubles, which go out as they stand in the file.
func (f *File) Double(column int) bool { return f.fields[column].kind == parquet.Double }

func (f *File) fault(column int, err error) error {
	if err == nil {
		return nil
	}
	fault := &Error{Name: f.name, Err: err}
	if column >= 0 {
		fault.Column = f.fields[column].name
	}
	return fault
}

func (f *File) open() error {
	info, err := os.Stat(f.name)
	if err == nil && !info.Mode().IsRegular() {
		err = errors.New("is no regular file")
	}
	if err == nil {
		f.disk, err = os.Open(f.name)
	}
	if at, ok := errors.AsType[*fs.PathError](err); ok {
		err = at.Err
	}
	if err == nil {
		err = f.checkFrame(info.Size())
	}
	if err != nil {
		return f.fault(-1, err)
	}
	return f.fault(-1, guarded(func() error { return f.contents(info.Size()) }))
}

// checkFrame looks at both ends: the library trusts the length that stands at the last.
func (f *File) checkFrame(size int64) error {
	var first, last [8]byte
	if n, _ := f.disk.ReadAt(first[:], 0); n < len(magic) || string(first[:4]) != magic {
		return ErrForeign
	}
	if _, err := f.disk.ReadAt(last[:], max(size-8, 0)); err != nil || size < 12 || string(last[4:]) != magic {
		return ErrCutOff
	}
	if int64(binary.LittleEndian.Uint32(last[:])) > size-12 {
		return fmt.Errorf("%w: its table of contents is longer than the file", ErrDamaged)
	}
	return nil
}

func (f *File) contents(size int64) (err error) {
	f.read, err = parquet.OpenFile(f.disk, size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true), parquet.ReadBufferSize(64<<10))
	if err != nil {
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	for _, path := range f.read.Schema().Columns() {
		leaf, _ := f.read.Schema().Lookup(path...)
		f.fields = append(f.fields, newField(path, leaf))
	}
	text, found := f.read.Lookup(recorded.Key)
	if !found {
		return nil
	}
	if f.head, err = recorded.ParseHead(text); err != nil {
		return err
	}
	return f.checkHead()
}

// checkHead holds the columns against what the head says of them.
func (f *File) checkHead() error {
	f.own = recorded.OwnAtLeast
	if len(f.fields) > f.own && f.fields[f.own].name == recorded.Uncertainty {
		f.own = len(recorded.Own)
	}
	want := slices.Clone(recorded.Own[:f.own])
	for _, input := range f.head.Description.GetInputs() {
		want = append(want, input.GetName())
	}
	if !slices.Equal(f.Header(), want) {
		return fmt.Errorf("%w: a recording with the columns %q instead of %q", ErrDamaged, f.Header(), want)
	}
	for i := range f.fields {
		if kind := f.kindByHead(i); f.fields[i].wrong != nil || f.fields[i].kind != kind || (i < f.own && f.fields[i].present > 0) {
			return fmt.Errorf("%w: column %q of a recording should be %v", ErrDamaged, f.fields[i].name, kind)
		}
	}
	return nil
}

// kindByHead is the type that a recording's column has.
func (f *File) kindByHead(column int) parquet.Kind {
	switch {
	case f.fields[column].name == recorded.Flags:
		return parquet.Int32
	case column < f.own:
		return parquet.Int64
	case f.head.Description.Inputs[column-f.own].GetUnit() == "code":
		return parquet.Int32
	}
	return parquet.Double
}
