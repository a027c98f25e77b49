package store

import "strings"

// scratchTable is a table of the store that is read row by row, by what its rows look like.
type scratchTable struct {
	name      string
	keyed     bool
	columns   []string
	shapes    []string // a letter for each column, one shape for each schema that has another; see matches
	insertion string
}

var scratchTables = []scratchTable{
	newScratchTable("entries", false, append(append([]string{}, entryColumns...), "chain"), entryShape(), entryShape()[:len(entryColumns)-5]),
	newScratchTable("gaps", true, gapColumns, shape(new(Gap).fields(new(string)))),
	newScratchTable("events", false, eventColumns, "ITITTTTIB"),
	newScratchTable("acknowledgements", false, acknowledgementColumns, "TITT"),
	newScratchTable("commissioning", false, recordColumns, "ITTTITTiB"),
}

func newScratchTable(name string, keyed bool, columns []string, shapes ...string) scratchTable {
	return scratchTable{name, keyed, columns, shapes, insertion("scratch."+name, columns)}
}

// create writes the statement that makes the scratch table: without types, so that it holds what is read as it is.
func (t *scratchTable) create() string {
	return "CREATE TABLE scratch." + t.name + " (" + strings.Join(t.columns, ",") + "); CREATE INDEX scratch." + t.name + "_of ON " + t.name +
		" (" + t.columns[0] + ")"
}

// takes says whether a row looks like one of the table's, and gives doubles the type that their column has.
func (t *scratchTable) takes(values []any) bool {
	for _, shape := range t.shapes {
		if matches(values, shape) {
			return t.name != "entries" || known(values)
		}
	}
	return false
}

// known wants one of the kinds, and a chain if there is a place for it.
func known(values []any) bool {
	kind, _ := values[columnKind].(string)
	chain, is := values[len(values)-1].([]byte)
	for _, k := range Kinds() {
		if kind == string(k) {
			return !is || len(chain) == len(Head{}.Chain)
		}
	}
	return false
}

// entryShape is that of the newest schema: what only some kinds have may be null, the chain may not.
func entryShape() string {
	last := len(entryColumns) - 5
	all := shape(new(Entry).fields())
	return all[:last] + strings.ToLower(all[last:]) + "B"
}

// shape gives a letter for each field.
func shape(fields []any) string {
	var b strings.Builder
	for _, field := range fields {
		switch field.(type) {
		case *float64:
			b.WriteByte(tagReal)
		case *string, *Kind:
			b.WriteByte(tagText)
		default:
			b.WriteByte(tagInteger)
		}
	}
	return b.String()
}

// matches holds values against a shape: I integer, R real, T text, B blob; a small letter may be null. In a file a real that is a whole
// number is an integer; it is made a real again.
func matches(values []any, shape string) bool {
	if len(values) != len(shape) {
		return false
	}
	for i, value := range values {
		letter := shape[i]
		if value == nil && letter >= 'a' {
			continue
		}
		if whole, is := value.(int64); is && letter&^0x20 == tagReal {
			values[i] = float64(whole)
			continue
		}
		if letterOf(value) != letter&^0x20 {
			return false
		}
	}
	return true
}

func letterOf(value any) byte {
	switch value.(type) {
	case int64:
		return tagInteger
	case float64:
		return tagReal
	case string:
		return tagText
	case []byte:
		return tagBlob
	}
	return 0
}
