package recording

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
)

// Faults of a recovery, found by errors.Is.
var (
	ErrForeign = errors.New("is no recording of ampledger")             // its beginning is none's
	ErrNothing = errors.New("holds no complete row group, it is empty") // there is nothing to save
	ErrNotOpen = errors.New("does not end in " + recorded.OpenEnding)   // its name says that it is complete
)

// Recovered says what a recovery saved.
type Recovered struct {
	Path      string // of the file, which is complete now
	Scans     int64  // in it
	CutOff    int64  // bytes of a row group that was not complete, which were cut off
	RowGroups int
}

// Recover completes a file that was being written when its daemon ended, up to its last complete row group: FILE.parquet.part becomes
// FILE.parquet, on disk when Recover returns. No daemon may be writing it. A file that holds no row group is left as it is: ErrNothing.
func Recover(path string) (*Recovered, error) {
	if !strings.HasSuffix(path, recorded.OpenEnding) {
		return nil, fmt.Errorf("%s: %w", path, ErrNotOpen)
	}
	disk, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	f := &file{path: path, disk: disk}
	rest, err := f.walk()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, errors.Join(err, disk.Close()))
	}
	got := &Recovered{completeName(path), f.contents.NumRows, rest, len(f.contents.RowGroups)}
	if err := f.finish(); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return got, nil
}

// walk reads what is sound and gives how many bytes of an incomplete row group stand behind it.
func (f *file) walk() (rest int64, err error) {
	info, err := f.disk.Stat()
	if err != nil {
		return 0, err
	}
	size := info.Size()
	if err := f.checkBeginning(size); err != nil {
		return 0, err
	}
	for f.size = int64(len(magic)); ; {
		begin, end, sound, err := openSegment(f.disk, f.size, size)
		if err != nil {
			return 0, err
		}
		if !sound {
			break
		}
		if err := f.contents.add(f.disk, begin, end); err != nil {
			return 0, err
		}
		f.size = end
	}
	if len(f.contents.RowGroups) == 0 {
		return 0, ErrNothing
	}
	if err := f.checkFree(); err != nil {
		return 0, err
	}
	return f.measureRest(size - f.size)
}

// measureRest gives how much stands behind the row groups that is not the beginning of their footer.
func (f *file) measureRest(length int64) (int64, error) {
	footer, err := f.contents.bytes()
	if err != nil || length > int64(len(footer)) {
		return length, err
	}
	rest := make([]byte, length)
	if _, err := f.disk.ReadAt(rest, f.size); err != nil {
		return 0, err
	}
	if bytes.HasPrefix(footer, rest) {
		return 0, nil
	}
	return length, nil
}

// checkBeginning tells a file of another making from one that was cut off early.
func (f *file) checkBeginning(size int64) error {
	want := magic + segmentMark
	head := make([]byte, min(size, int64(len(want))))
	if _, err := f.disk.ReadAt(head, 0); err != nil {
		return err
	}
	if !strings.HasPrefix(want, string(head)) {
		return ErrForeign
	}
	return nil
}

// recoverFolder recovers every file that is not complete, and removes those that hold nothing. tell is called for each.
func recoverFolder(folder string, tell func(path string, saved *Recovered, err error)) error {
	all, err := list(folder)
	if err != nil {
		return err
	}
	for _, found := range all {
		if !found.open {
			continue
		}
		path := filepath.Join(folder, found.file)
		saved, err := Recover(path)
		if errors.Is(err, ErrNothing) {
			err = errors.Join(err, os.Remove(path))
		}
		tell(path, saved, err)
	}
	return nil
}
