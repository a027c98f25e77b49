package pages

import (
	"encoding/binary"
	"errors"
	"io"
)

const (
	logMagic       = 0x377f0682 // the last bit says that checksums are over big-endian words
	logHeaderSize  = 32
	logFrameHeader = 24
)

// readLog notes where the log has the newest committed version of each page. What does not fit, and all behind it, is as if not written.
func (f *File) readLog(size int64) error {
	var header [logHeaderSize]byte
	if _, err := f.log.ReadAt(header[:], 0); err != nil {
		return ignoreEnd(err)
	}
	magic := binary.BigEndian.Uint32(header[:])
	sum := checksum{order: binary.LittleEndian}
	if magic&1 == 1 {
		sum.order = binary.BigEndian
	}
	sum.add(header[:24])
	if magic&^1 != logMagic || binary.BigEndian.Uint32(header[8:]) != uint32(f.pageSize) || !sum.is(header[24:]) {
		return nil
	}
	frame := make([]byte, logFrameHeader+f.pageSize)
	pending := map[uint32]int64{}
	for at := int64(logHeaderSize); at+int64(len(frame)) <= size; at += int64(len(frame)) {
		if _, err := f.log.ReadAt(frame, at); err != nil {
			return ignoreEnd(err)
		}
		sum.add(frame[:8])
		sum.add(frame[logFrameHeader:])
		if string(frame[8:16]) != string(header[16:24]) || !sum.is(frame[16:]) {
			return nil // of an earlier round of the log, or torn
		}
		pending[binary.BigEndian.Uint32(frame)] = at + logFrameHeader
		if pages := binary.BigEndian.Uint32(frame[4:]); pages != 0 {
			f.commit(pending, pages)
			clear(pending)
		}
	}
	return nil
}

// commit takes the pages of a transaction over, after which the file has so many.
func (f *File) commit(pending map[uint32]int64, pages uint32) {
	for page, at := range pending {
		f.logged[page] = at
	}
	f.count = max(f.count, pages)
}

// checksum is that of section 4.2 of the format.
type checksum struct {
	order  binary.ByteOrder
	s0, s1 uint32
}

func (c *checksum) add(data []byte) {
	for ; len(data) >= 8; data = data[8:] {
		c.s0 += c.order.Uint32(data) + c.s1
		c.s1 += c.order.Uint32(data[4:]) + c.s0
	}
}

// is holds the sum against a stored one.
func (c *checksum) is(stored []byte) bool {
	return binary.BigEndian.Uint32(stored) == c.s0 && binary.BigEndian.Uint32(stored[4:]) == c.s1
}

func ignoreEnd(err error) error {
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}
