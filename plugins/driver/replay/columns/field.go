package columns

import (
	"errors"
	"strings"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/format"
)

// field is one column as the file declares it.
type field struct {
	name     string
	kind     parquet.Kind
	index    int
	present  byte  // definition level of a value that is there; 0 = every one is
	unit     int64 // of a TIMESTAMP in ns; 0 = it is none
	unsigned bool
	wrong    error // why it cannot be read as numbers
}

func newField(path []string, leaf parquet.LeafColumn) field {
	f := field{name: strings.Join(path, "."), kind: leaf.Node.Type().Kind(), index: leaf.ColumnIndex, present: byte(leaf.MaxDefinitionLevel)}
	switch f.kind {
	case parquet.Int32, parquet.Int64, parquet.Float, parquet.Double:
	case parquet.ByteArray, parquet.FixedLenByteArray:
		f.wrong = errors.New("holds text or bytes, no numbers")
	default:
		f.wrong = errors.New("holds " + f.kind.String() + ", no numbers")
	}
	if leaf.MaxRepetitionLevel > 0 {
		f.wrong = errors.New("holds lists, no numbers")
	}
	if logical := leaf.Node.Type().LogicalType(); logical != nil {
		f.readLogical(logical.Value)
	}
	return f
}

// readLogical takes account of what the numbers mean.
func (f *field) readLogical(logical any) {
	switch t := logical.(type) {
	case *format.TimestampType:
		f.unit = nanosOf(t.Unit)
	case *format.IntType:
		f.unsigned = !t.IsSigned
	case *format.DecimalType:
		f.wrong = errors.New("holds decimals: write them as DOUBLE")
	}
}

func nanosOf(unit format.TimeUnit) int64 {
	switch unit.Value.(type) {
	case *format.MilliSeconds:
		return 1e6
	case *format.MicroSeconds:
		return 1e3
	}
	return 1
}
