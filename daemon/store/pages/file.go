package pages

import (
	"encoding/binary"
	"errors"
	"io"
	"math/bits"
)

// defaultPageSize is SQLite's, for a file whose header is gone.
const defaultPageSize = 4096

// File is a SQLite file with the log beside it.
type File struct {
	data     io.ReaderAt
	log      io.ReaderAt
	pageSize int
	count    uint32           // pages
	logged   map[uint32]int64 // where the log has the newest of a page
}

// Open looks at a file of so many bytes and at its log; a log of 0 bytes is none. An error is one of reading.
func Open(data io.ReaderAt, size int64, log io.ReaderAt, logSize int64) (*File, error) {
	f := &File{data: data, log: log, pageSize: defaultPageSize, logged: map[uint32]int64{}}
	var header [100]byte
	if _, err := data.ReadAt(header[:], 0); err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	if stated := pageSize(binary.BigEndian.Uint16(header[16:])); stated != 0 {
		f.pageSize = stated
	}
	f.count = uint32(size / int64(f.pageSize))
	if logSize > 0 {
		if err := f.readLog(logSize); err != nil {
			return nil, err
		}
	}
	return f, nil
}

// pageSize reads a header's page size; 0 = it cannot be one.
func pageSize(stated uint16) int {
	switch {
	case stated == 1:
		return 1 << 16
	case stated >= 512 && bits.OnesCount16(stated) == 1:
		return int(stated)
	}
	return 0
}

// PageCount is how many whole pages there are; they count from 1.
func (f *File) PageCount() uint32 { return f.count }

// read fills to with a page; false = it is not there.
func (f *File) read(to []byte, page uint32) bool {
	if at, is := f.logged[page]; is {
		_, err := f.log.ReadAt(to, at)
		return err == nil
	}
	if page < 1 || page > f.count {
		return false
	}
	_, err := f.data.ReadAt(to, int64(page-1)*int64(f.pageSize))
	return err == nil
}
