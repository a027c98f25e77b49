package table

import (
	"errors"
	"io/fs"
	"os"
)

// File is a recording on disk.
type File struct {
	*Reader
	file *os.File
}

// Open opens a recording and reads its header. The caller closes it.
func Open(path string) (*File, error) {
	if err := checkRegular(path); err != nil {
		return nil, err
	}
	file, err := os.Open(path)
	if err != nil {
		return nil, withoutOperation(path, err)
	}
	reader, err := NewReader(file, path)
	if err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return &File{Reader: reader, file: file}, nil
}

// Close closes the file.
func (f *File) Close() error { return f.file.Close() }

// checkRegular comes before the opening, which would wait at a named pipe.
func checkRegular(path string) error {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return withoutOperation(path, err)
	case info.IsDir():
		return &Error{Name: path, Err: errors.New("this is a folder, a recording is a file")}
	case !info.Mode().IsRegular():
		return &Error{Name: path, Err: errors.New("this is no regular file, a recording is read twice")}
	}
	return nil
}

// withoutOperation says what is wrong with a path, not which system call said so.
func withoutOperation(path string, err error) error {
	if at, ok := errors.AsType[*fs.PathError](err); ok {
		err = at.Err
	}
	return &Error{Name: path, Err: err}
}
