package recording

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
)

// magic begins and ends a Parquet file.
const magic = "PAR1"

// footerTail is the length of what stands behind a footer: its own length and the magic.
const footerTail = 4 + int64(len(magic))

// mostRowGroups in a file, below the 32,767 that its format can number.
const mostRowGroups = 1 << 14

// contents is the table of contents that a file has at its end.
type contents struct{ format.FileMetaData }

// add takes over what the footer of a body says, which begins and ends at these offsets of in.
func (c *contents) add(in io.ReaderAt, begin, end int64) error {
	body, err := readFooter(io.NewSectionReader(in, begin, end-begin), end-begin)
	if err != nil {
		return fmt.Errorf("footer of the row group at %d: %w", begin, err)
	}
	if len(c.RowGroups) == 0 {
		first := *body
		first.RowGroups, first.NumRows = nil, 0
		c.FileMetaData = first
	}
	for i := range body.RowGroups {
		group := &body.RowGroups[i]
		shift(group, begin)
		group.Ordinal = int16(len(c.RowGroups))
		c.RowGroups = append(c.RowGroups, *group)
		c.NumRows += group.NumRows
	}
	return nil
}

// shift moves what a row group addresses. The page index, which holds addresses of its own, is left out: a reader does without.
func shift(group *format.RowGroup, by int64) {
	group.FileOffset += by
	for i := range group.Columns {
		chunk := &group.Columns[i]
		chunk.OffsetIndexOffset, chunk.OffsetIndexLength, chunk.ColumnIndexOffset, chunk.ColumnIndexLength = 0, 0, 0, 0
		if chunk.FileOffset != 0 {
			chunk.FileOffset += by
		}
		chunk.MetaData.DataPageOffset += by
	}
}

// bytes gives the footer with its tail.
func (c *contents) bytes() ([]byte, error) {
	footer, err := thrift.Marshal(new(thrift.CompactProtocol), &c.FileMetaData)
	if err != nil {
		return nil, err
	}
	footer = binary.LittleEndian.AppendUint32(footer, uint32(len(footer)))
	return append(footer, magic...), nil
}

var errNoFooter = errors.New("no Parquet footer")

// readFooter reads the table of contents of a Parquet file.
func readFooter(in io.ReaderAt, size int64) (*format.FileMetaData, error) {
	var tail [footerTail]byte
	if size < footerTail {
		return nil, errNoFooter
	}
	if _, err := in.ReadAt(tail[:], size-footerTail); err != nil {
		return nil, err
	}
	length := int64(binary.LittleEndian.Uint32(tail[:]))
	if string(tail[4:]) != magic || length > size-footerTail {
		return nil, errNoFooter
	}
	footer, meta := make([]byte, length), new(format.FileMetaData)
	if _, err := in.ReadAt(footer, size-footerTail-length); err != nil {
		return nil, err
	}
	return meta, thrift.Unmarshal(new(thrift.CompactProtocol), footer, meta)
}
