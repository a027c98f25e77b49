package pages

import "encoding/binary"

// Row is what a cell of a leaf holds.
type Row struct {
	Page   uint32
	Keyed  bool  // of a tree without rowids: an index, or a table WITHOUT ROWID
	RowID  int64 // 0 if keyed; a column that is the rowid holds nil
	Values []any // int64, float64, string, []byte or nil; good for as long as the caller wants
}

// The kinds of pages that hold rows, and the size of their headers.
const (
	keyedInterior, keyedInteriorHeader = 2, 12
	keyedLeaf, leafHeader              = 10, 8
	tableLeaf                          = 13
)

// Rows visits each row that a page seems to hold; no rows, for a page that seems to hold none, is no error. What visit says ends it.
func (f *File) Rows(page uint32, visit func(Row) error) error {
	data := make([]byte, f.pageSize)
	if !f.read(data, page) {
		return nil
	}
	start := 0
	if page == 1 {
		start = 100 // behind the file's header
	}
	kind, header := data[start], leafHeader
	switch kind {
	case keyedInterior:
		header = keyedInteriorHeader
	case keyedLeaf, tableLeaf:
	default:
		return nil
	}
	count := int(binary.BigEndian.Uint16(data[start+3:]))
	for i := range count {
		at := start + header + 2*i
		if at+2 > len(data) {
			break
		}
		row, ok := f.row(data, int(binary.BigEndian.Uint16(data[at:])), kind)
		if !ok {
			continue
		}
		row.Page = page
		if err := visit(row); err != nil {
			return err
		}
	}
	return nil
}

// row reads one cell.
func (f *File) row(data []byte, at int, kind byte) (row Row, ok bool) {
	if kind == keyedInterior {
		at += 4 // the child to the left
	}
	row.Keyed = kind != tableLeaf
	length, at := varint(data, at)
	if !row.Keyed && at > 0 {
		row.RowID, at = varint(data, at)
	}
	if at <= 0 || length < 1 || length > mostPayload {
		return row, false
	}
	payload, ok := f.payload(data, at, int(length), row.Keyed)
	if !ok {
		return row, false
	}
	row.Values, ok = record(payload)
	return row, ok
}

// mostPayload bounds what a row may hold, so that a damaged length takes no memory.
const mostPayload = 16 << 20

// payload gathers a row's bytes from its page and from the pages they run over to. How many stay is section 1.6 of the format.
func (f *File) payload(data []byte, at, length int, keyed bool) ([]byte, bool) {
	usable := f.pageSize
	most, least := usable-35, (usable-12)*32/255-23
	if keyed {
		most = (usable-12)*64/255 - 23
	}
	local := length
	if length > most {
		if local = least + (length-least)%(usable-4); local > most {
			local = least
		}
	}
	if at+local > len(data) {
		return nil, false
	}
	payload := append([]byte(nil), data[at:at+local]...)
	if local == length {
		return payload, true
	}
	if at+local+4 > len(data) {
		return nil, false
	}
	next := binary.BigEndian.Uint32(data[at+local:])
	page := make([]byte, f.pageSize)
	for len(payload) < length { // each turn adds something, so it ends
		if !f.read(page, next) {
			return nil, false
		}
		payload = append(payload, page[4:min(4+length-len(payload), usable)]...)
		next = binary.BigEndian.Uint32(page)
	}
	return payload, true
}
