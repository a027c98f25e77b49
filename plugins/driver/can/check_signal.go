package can

import (
	"math"
	"slices"

	"github.com/ampledger/ampledger/plugins/driver/can/bits"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// units are those of plugin.Input.
var units = []string{"code", "V", "A", "Cel", "1"}

// check adds a signal to its message and to the plan.
func (s *signalSettings) check(f faults, of *messageSettings, p *plan, m *message, taken *claims) {
	in := input{Input: &plugin.Input{Name: s.Name, Unit: "1", Averaging: s.Averaging}, scale: 1, least: math.Inf(-1), most: math.Inf(1), message: len(p.messages)}
	s.checkName(f, p)
	s.checkUnit(f, &in)
	s.checkHold(f, &in)
	s.checkMultiplex(f, m, &in)
	field, ok := s.fieldSettings.check(f, of.ByteOrder, m.bytes)
	if ok {
		taken.add(f, "the signal "+s.Name, field, s.Multiplex)
		in.field = field
		s.checkType(f, &in)
		s.checkLimits(f, &in)
	}
	m.inputs = append(m.inputs, len(p.inputs))
	p.inputs = append(p.inputs, in)
}

func (s *signalSettings) checkName(f faults, p *plan) {
	switch {
	case s.Name == "":
		f.refuse("name", "missing, every signal needs one")
	case p.find(s.Name) >= 0:
		f.refuse("name", "%q is the name of a signal before it, give another", s.Name)
	}
}

func (s *signalSettings) checkUnit(f faults, in *input) {
	if s.Unit != "" {
		in.Unit = s.Unit
	}
	if !slices.Contains(units, in.Unit) {
		f.refuse("unit", `%q is none of "code", "V", "A", "Cel" and "1"`, s.Unit)
	}
	in.code = in.Unit == "code"
	refuse := func(key, text string, given, allowed bool) {
		if given && !allowed {
			f.refuse(key, "%s", text)
		}
	}
	refuse("scale", "codes go out as they are; give volts_per_code, or another unit", s.Scale != nil, !in.code)
	refuse("offset", "codes go out as they are; give zero_code_volts, or another unit", s.Offset != nil, !in.code)
	refuse("volts_per_code", `is for codes only, add unit: "code" or leave it out`, s.VoltsPerCode != nil, in.code)
	refuse("zero_code_volts", `is for codes only, add unit: "code" or leave it out`, s.ZeroCodeVolts != nil, in.code)
	set := func(key string, from *float64, to *float64) {
		if from == nil {
			return
		}
		if *to = *from; *from == 0 && (key == "scale" || key == "volts_per_code") {
			f.refuse(key, "0 makes every value the same, leave it out or give another")
		}
	}
	set("scale", s.Scale, &in.scale)
	set("offset", s.Offset, &in.offset)
	set("volts_per_code", s.VoltsPerCode, &in.VoltsPerCode)
	set("zero_code_volts", s.ZeroCodeVolts, &in.ZeroCodeVolts)
}

func (s *signalSettings) checkHold(f faults, in *input) {
	in.holdNanos = nanosOf(f, "hold_seconds", s.HoldSeconds)
	if s.HoldSeconds != nil && in.Unit == "A" {
		f.refuse("hold_seconds", "a current that is held is a reading given twice; leave it out, and make a device of its own for a current that comes at another pace")
		in.holdNanos = 0
	}
}

func (s *signalSettings) checkMultiplex(f faults, m *message, in *input) {
	switch {
	case s.Multiplex == nil:
		return
	case m.multiplexer == nil:
		f.refuse("multiplex", "the message has no multiplexer")
	case *s.Multiplex < 0 || *s.Multiplex >= 1<<m.multiplexer.Length:
		f.refuse("multiplex", "%d is not within 0 to %d, the values of a multiplexer of %d bits", *s.Multiplex, int64(1)<<m.multiplexer.Length-1, m.multiplexer.Length)
	}
	in.multiplexed, in.multiplex = true, uint64(*s.Multiplex)
}

func (s *signalSettings) checkType(f faults, in *input) {
	switch s.Type {
	case "unsigned":
	case "signed":
		in.read = readSigned
	case "float":
		in.read = readFloat32
		switch {
		case in.code:
			f.refuse("type", "a code is a whole number")
			return
		case in.field.Length == 64:
			in.read = readFloat64
		case in.field.Length != 32:
			f.refuse("length", "a float has 32 or 64 bits, not %d", in.field.Length)
		}
	case "":
		f.refuse("type", "missing, give unsigned, signed or float")
	default:
		f.refuse("type", "%q is none of unsigned, signed and float", s.Type)
	}
	if most := 31 + btoi(in.read == readSigned); in.code && in.field.Length > most {
		f.refuse("length", "%d bits are more than the %d that a code has room for; give another unit", in.field.Length, most)
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// checkLimits takes the raw values there are. A limit beyond all that the field can hold would never be met, and shows a mistake.
func (s *signalSettings) checkLimits(f faults, in *input) {
	if s.LeastRaw != nil {
		in.least = *s.LeastRaw
	}
	if s.GreatestRaw != nil {
		in.most = *s.GreatestRaw
	}
	if in.least >= in.most {
		f.refuse("least_raw", "%v is not below greatest_raw, %v", in.least, in.most)
		return
	}
	least, most := in.read.limits(in.field)
	for _, c := range []struct {
		key   string
		value *float64
	}{{"least_raw", s.LeastRaw}, {"greatest_raw", s.GreatestRaw}} {
		if c.value != nil && (*c.value < least || *c.value > most) {
			f.refuse(c.key, "%v is not within %v to %v, what the signal can hold", *c.value, least, most)
			return
		}
	}
	if in.code && s.LeastRaw != nil && s.GreatestRaw != nil {
		in.MinimumCode, in.MaximumCode, in.CodeRangeKnown = int32(in.least), int32(in.most), true
		in.absent = max(in.least, min(in.most, 0))
	}
}

// limits gives the least and the greatest number in a field.
func (r reading) limits(field bits.Field) (least, most float64) {
	switch r {
	case readSigned:
		return -math.Ldexp(1, field.Length-1), math.Ldexp(1, field.Length-1) - 1
	case readUnsigned:
		return 0, math.Ldexp(1, field.Length) - 1
	}
	return math.Inf(-1), math.Inf(1)
}
