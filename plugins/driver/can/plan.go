package can

import (
	"math"
	"slices"

	"github.com/ampledger/ampledger/plugins/driver/can/bits"
	"github.com/ampledger/ampledger/plugins/driver/can/checksum"
	"github.com/ampledger/ampledger/plugins/driver/can/wire"
	"github.com/ampledger/ampledger/plugins/driver/internal/playback"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// plan is what the settings come to.
type plan struct {
	network  string // interface; of a log, "" = the only one in it
	log      string // "" = live
	playback playback.Plan
	messages []message
	byKey    map[uint32]int // which message an identifier is
	inputs   []input
	scanOn   int // which input's message makes a scan
}

// message is one identifier and what its data mean.
type message struct {
	key         uint32
	name        string
	bytes       int   // it has at the least
	periodNanos int64 // nominal, 0 = not known
	silentNanos int64
	multiplexer *bits.Field // nil = none, as below
	counter     *counter
	sum         *sum
	inputs      []int
}

type counter struct {
	field  bits.Field
	values int64 // it counts from 0 to one less, and begins again
}

// sum is a checksum and what it is of.
type sum struct {
	algorithm     checksum.Algorithm
	field         bits.Field
	before, after []byte
	first, last   int // bytes of the message, without those of the sum itself
	from, to      int // which those are
}

// input is one signal as it goes out.
type input struct {
	*plugin.Input
	message       int
	field         bits.Field
	read          reading
	code          bool
	scale, offset float64
	least, most   float64 // raw values that are one
	absent        float64 // stands where there is no value
	multiplexed   bool
	multiplex     uint64
	holdNanos     int64 // 0 = a value is given once
}

// reading is how a field's bits are read.
type reading uint8

const (
	readUnsigned reading = iota
	readSigned
	readFloat32
	readFloat64
)

// extendedKey sets identifiers of 29 bits apart from those of 11.
const extendedKey = 1 << 31

func keyOf(id uint32, extended bool) uint32 {
	if extended {
		return id | extendedKey
	}
	return id
}

// message gives the message that a frame is; -1 = none.
func (p *plan) message(f *wire.Frame) int {
	if f.Error || f.Remote {
		return -1
	}
	i, found := p.byKey[keyOf(f.ID, f.Extended)]
	if !found {
		return -1
	}
	return i
}

// find gives the input of a name; -1 = none.
func (p *plan) find(name string) int {
	return slices.IndexFunc(p.inputs, func(in input) bool { return in.Name == name })
}

// describe tells the daemon what there is. The message of a multiplexed signal may come more often than the signal.
func (p *plan) describe() *plugin.Description {
	d := &plugin.Description{Finite: p.log != ""}
	if scan := &p.inputs[p.scanOn]; !scan.multiplexed && p.messages[scan.message].periodNanos > 0 {
		d.NominalRateHertz = 1e9 / float64(p.messages[scan.message].periodNanos)
	}
	for i := range p.inputs {
		d.Inputs = append(d.Inputs, p.inputs[i].Input)
	}
	return d
}

// raw takes the number that the data hold; false = it stands for none.
func (in *input) raw(data []byte) (raw float64, present bool) {
	switch in.read {
	case readUnsigned:
		raw = float64(in.field.Unsigned(data))
	case readSigned:
		raw = float64(in.field.Signed(data))
	case readFloat32:
		raw = float64(math.Float32frombits(uint32(in.field.Unsigned(data))))
	case readFloat64:
		raw = math.Float64frombits(in.field.Unsigned(data))
	}
	return raw, !(raw < in.least || raw > in.most)
}

// value converts a raw number. The conversion keeps processors with a fused instruction from rounding once where others round twice.
func (in *input) value(raw float64) float64 { return float64(raw*in.scale) + in.offset }

// leaveOut finds the bytes of the checksum itself; false = it does not fill whole ones.
func (s *sum) leaveOut() bool {
	set := s.field.Bits()
	s.from, s.to = bits.MaxBytes, 0
	for bit := range 8 * bits.MaxBytes {
		if set.Has(bit) {
			s.from, s.to = min(s.from, bit/8), max(s.to, bit/8+1)
		}
	}
	return 8*(s.to-s.from) == s.field.Length
}

// fits tells that the checksum is the one of the data.
func (s *sum) fits(data []byte) bool {
	is := s.algorithm.Add(s.algorithm.Begin(), s.before)
	is = s.algorithm.Add(is, data[s.first:max(s.first, min(s.last+1, s.from))])
	is = s.algorithm.Add(is, data[min(max(s.first, s.to), s.last+1):s.last+1])
	is = s.algorithm.Add(is, s.after)
	return uint64(s.algorithm.End(is)) == s.field.Unsigned(data)
}
