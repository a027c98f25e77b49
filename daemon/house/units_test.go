package house_test

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	// Registered by their import.
	_ "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
	_ "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// units are the words a numeric field's name may end in: a unit, or what is counted or numbered.
var units = []string{
	"amperes", "coulombs", "microcoulombs", "volts", "nanos", "seconds", "hertz", "celsius", "kelvin", "bytes", "ratio", "ratios",
	"count", "counts", "size", "sequence", "index", "indices", "generation", "id",
	"code", "codes", "bits", "value", "values", // in the input's own unit, which stands beside them
}

// rates are the endings that only mean something after a unit.
var rates = []string{"amperes_per_second", "amperes_per_root_second"}

const whyUnits = "a number whose unit stands elsewhere is read in the wrong one sooner or later; its name must carry it"

func TestNumericFieldsCarryUnits(t *testing.T) {
	files, numbers := 0, 0
	protoregistry.GlobalFiles.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		if strings.HasPrefix(string(file.Package()), "ampledger.") {
			files++
			numbers += checkUnits(t, file.Messages())
		}
		return true
	})
	if files < 6 || numbers < 100 {
		t.Errorf("walked %d files and %d numeric fields only: something is not registered", files, numbers)
	}
}

// checkUnits goes through messages and those inside them and gives the number of numeric fields.
func checkUnits(t *testing.T, messages protoreflect.MessageDescriptors) (numbers int) {
	t.Helper()
	for i := range messages.Len() {
		message := messages.Get(i)
		if message.IsMapEntry() {
			continue // it is its field that has a name
		}
		for j := range message.Fields().Len() {
			field := message.Fields().Get(j)
			if !isNumber(field) {
				continue
			}
			numbers++
			if !carriesUnit(string(field.Name())) {
				t.Errorf("%s: %s ends in no unit and no count word\nwhy this rule: %s", message.ParentFile().Path(), field.FullName(), whyUnits)
			}
		}
		numbers += checkUnits(t, message.Messages())
	}
	return numbers
}

func isNumber(field protoreflect.FieldDescriptor) bool {
	if field.IsMap() {
		field = field.MapValue()
	}
	switch field.Kind() {
	case protoreflect.BoolKind, protoreflect.EnumKind, protoreflect.StringKind, protoreflect.BytesKind, protoreflect.MessageKind,
		protoreflect.GroupKind:
		return false
	default:
		return true
	}
}

func carriesUnit(name string) bool {
	last := name[strings.LastIndexByte(name, '_')+1:]
	return slices.Contains(units, last) || slices.ContainsFunc(rates, func(rate string) bool { return strings.HasSuffix(name, rate) })
}

func TestCarriesUnit(t *testing.T) {
	for name, want := range map[string]bool{
		"offset_amperes": true, "square_ampere_seconds": true, "variance_square_amperes": true, "volts_per_code": true,
		"interval95_coulombs": true, "values": true, "generation": true, "walk_amperes_per_root_second": true,
		"offset": false, "duration": false, "wait_second": false, "amperes_offset": false, "milliamperes": false, "": false,
	} {
		if got := carriesUnit(name); got != want {
			t.Errorf("carriesUnit(%q) = %v", name, got)
		}
	}
}
