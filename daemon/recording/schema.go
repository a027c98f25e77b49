package recording

import (
	"reflect"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress"

	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// codec compresses every column. BenchmarkEncodings has the figures for this choice and that of the encodings: against it, zstd would save a
// quarter of the doubles that are decimals, and nothing of codes, times and noise, for twice the work.
var codec compress.Codec = &parquet.Snappy

// schemaOf gives the columns of package recorded.
func schemaOf(h *recorded.Head) *parquet.Schema {
	root := &orderedGroup{}
	for _, name := range []string{recorded.Sequence, recorded.Monotonic} {
		root.add(name, whole(parquet.Leaf(parquet.Int64Type)))
	}
	root.add(recorded.Wall, whole(parquet.Timestamp(parquet.Nanosecond)))
	root.add(recorded.Epoch, whole(parquet.Leaf(parquet.Int64Type)))
	root.add(recorded.Flags, whole(parquet.Leaf(parquet.Int32Type)))
	root.add(recorded.Uncertainty, whole(parquet.Leaf(parquet.Int64Type)))
	for _, input := range h.Description.GetInputs() {
		root.add(input.GetName(), parquet.Optional(inputNode(input)))
	}
	return parquet.NewSchema("recording", root)
}

func inputNode(input *plugin.Input) parquet.Node {
	if isCode(input) {
		return whole(parquet.Leaf(parquet.Int32Type))
	}
	return parquet.Compressed(parquet.Encoded(parquet.Leaf(parquet.DoubleType), &parquet.Plain), codec)
}

func isCode(input *plugin.Input) bool { return input.GetUnit() == "code" }

func whole(leaf parquet.Node) parquet.Node {
	return parquet.Compressed(parquet.Encoded(leaf, &parquet.DeltaBinaryPacked), codec)
}

// orderedGroup is a group whose fields keep their order; parquet.Group sorts them by name.
type orderedGroup struct {
	parquet.Group
	fields []parquet.Field
}

func (g *orderedGroup) add(name string, node parquet.Node) {
	g.fields = append(g.fields, parquet.Group{name: node}.Fields()...)
}

// Fields implements parquet.Node.
func (g *orderedGroup) Fields() []parquet.Field { return g.fields }

// GoType implements parquet.Node. Rows are never Go values here, and not every input's name can be that of a field.
func (g *orderedGroup) GoType() reflect.Type { return reflect.TypeFor[struct{}]() }
