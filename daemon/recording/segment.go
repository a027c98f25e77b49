package recording

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
)

// segmentMark begins a segment; see the package comment.
const segmentMark = "ALRG"

// segmentHeader is the length of what stands before a segment's body.
const segmentHeader = int64(len(segmentMark)) + 4 + 8

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// sealSegment fills in the header of a segment, whose body is in place.
func sealSegment(segment []byte) {
	body := segment[segmentHeader:]
	copy(segment, segmentMark)
	binary.LittleEndian.PutUint32(segment[4:], crc32.Checksum(body, castagnoli))
	binary.LittleEndian.PutUint64(segment[8:], uint64(len(body)))
}

// openSegment looks for a sound segment at an offset of a file that has size bytes, and says where its body begins and ends; false if there
// is none. It holds no more than a few kilobytes of it in memory.
func openSegment(in io.ReaderAt, offset, size int64) (begin, end int64, sound bool, err error) {
	var header [segmentHeader]byte
	if size-offset < segmentHeader {
		return 0, 0, false, nil
	}
	if _, err := in.ReadAt(header[:], offset); err != nil {
		return 0, 0, false, fmt.Errorf("segment at %d: %w", offset, err)
	}
	begin = offset + segmentHeader
	length := binary.LittleEndian.Uint64(header[8:])
	if string(header[:4]) != segmentMark || length > uint64(size-begin) {
		return 0, 0, false, nil
	}
	sum := crc32.New(castagnoli)
	if _, err := io.Copy(sum, io.NewSectionReader(in, begin, int64(length))); err != nil {
		return 0, 0, false, fmt.Errorf("segment at %d: %w", offset, err)
	}
	return begin, begin + int64(length), sum.Sum32() == binary.LittleEndian.Uint32(header[4:]), nil
}
