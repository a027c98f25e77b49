package recording

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
)

// file is one that is being written.
type file struct {
	path     string // with OpenEnding
	disk     *os.File
	size     int64 // of what is sound; what may stand behind it is written over or cut off
	contents contents
	opened   time.Time
}

// create begins a file. It is there after a power cut.
func create(path string, now time.Time) (*file, error) {
	disk, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, err
	}
	f := &file{path: path, disk: disk, size: int64(len(magic)), opened: now}
	_, err = disk.WriteString(magic)
	if err = errors.Join(err, syncFolder(filepath.Dir(path))); err != nil {
		return nil, errors.Join(err, disk.Close(), os.Remove(path))
	}
	return f, nil
}

// append adds a segment. It is on disk when append returns; after an error it may be tried again.
func (f *file) append(segment []byte) error {
	if _, err := f.disk.WriteAt(segment, f.size); err != nil {
		return err
	}
	if err := f.disk.Sync(); err != nil {
		return err
	}
	end := f.size + int64(len(segment))
	if err := f.contents.add(f.disk, f.size+segmentHeader, end); err != nil {
		return err
	}
	f.size = end
	return nil
}

// finish completes the file and gives it its name, or removes it if nothing was ever written to it. Whatever comes of it, the file is
// closed; after an error it can be recovered.
func (f *file) finish() (err error) {
	defer func() {
		err = errors.Join(err, f.disk.Close())
	}()
	if len(f.contents.RowGroups) == 0 {
		return os.Remove(f.path)
	}
	if err := f.end(); err != nil {
		return err
	}
	if err := f.checkFree(); err != nil {
		return err
	}
	complete := completeName(f.path)
	if err := os.Rename(f.path, complete); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(complete))
}

// checkFree sees to it that no file is written over.
func (f *file) checkFree() error {
	complete := completeName(f.path)
	if _, err := os.Stat(complete); err == nil {
		return fmt.Errorf("%s is there already", complete)
	}
	return nil
}

// end puts the footer behind what is sound.
func (f *file) end() error {
	footer, err := f.contents.bytes()
	if err != nil {
		return err
	}
	if err := f.disk.Truncate(f.size); err != nil {
		return err
	}
	if _, err := f.disk.WriteAt(footer, f.size); err != nil {
		return err
	}
	return f.disk.Sync()
}

func completeName(path string) string {
	return strings.TrimSuffix(path, recorded.OpenEnding) + recorded.Ending
}

// syncFolder puts names on disk.
func syncFolder(path string) error {
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(folder.Sync(), folder.Close())
}
