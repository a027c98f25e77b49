package pluginhost

import (
	"fmt"
	"math"
	"slices"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// MaxScans bounds a frame, and with it the memory a driver can ask for.
const MaxScans = 1 << 16

// Decoder checks the frames of one stream against the protocol and turns them into columns. It belongs to one goroutine.
type Decoder struct {
	inputs []*plugin.Input
	next   uint64      // least sequence the next frame may begin with
	codes  [][]float64 // an input's codes as numbers, used again from frame to frame
}

// NewDecoder makes a decoder for a device's inputs.
func NewDecoder(inputs []*plugin.Input) *Decoder { return &Decoder{inputs: inputs} }

// Decode writes a frame to f, which shares its memory and the decoder's until the next call. Wrong values are flagged; a wrong form is an
// error that says where.
func (d *Decoder) Decode(wire *plugin.Frame, f *scan.Frame) error {
	count := int(wire.GetScanCount())
	if err := d.checkForm(wire, count); err != nil {
		return err
	}
	f.Clock = scan.Clock{
		Sequence: wire.GetFirstSequence(), Wall: wire.GetFirstWallNanos(), Monotonic: wire.GetFirstMonotonicNanos(),
		Period: wire.GetPeriodNanos(), Offsets: wire.GetOffsetNanos(), Uncertainty: wire.GetTimeUncertaintyNanos(),
	}
	f.Count, f.Flags = count, nil
	inputs := len(d.inputs)
	f.Columns = slices.Grow(f.Columns[:0], inputs)[:inputs]
	d.codes = slices.Grow(d.codes[:0], inputs)[:inputs]
	for i, column := range wire.GetColumns() {
		if err := acceptColumn(column, count, &f.Columns[i], &d.codes[i]); err != nil {
			return fmt.Errorf("input %q: %w", d.inputs[i].GetName(), err)
		}
	}
	d.next = wire.GetFirstSequence() + uint64(count)
	return nil
}

func (d *Decoder) checkForm(wire *plugin.Frame, count int) error {
	switch first := wire.GetFirstSequence(); {
	case count == 0 || count > MaxScans:
		return fmt.Errorf("holds %d scans, 1 to %d are allowed", count, MaxScans)
	case first < d.next:
		return fmt.Errorf("runs backwards: sequence %d was due", d.next)
	case first > math.MaxInt64:
		return fmt.Errorf("sequence is beyond 2^63")
	case len(wire.GetColumns()) != len(d.inputs):
		return fmt.Errorf("has %d columns for %d inputs", len(wire.GetColumns()), len(d.inputs))
	}
	return checkTimes(wire, count)
}

// checkTimes bounds the times so that no sum of them can overflow: each is well below the 292 years that 63 bits of nanoseconds hold.
func checkTimes(wire *plugin.Frame, count int) error {
	const limit = math.MaxInt64 / 2
	switch {
	case wire.GetPeriodNanos() < 0:
		return fmt.Errorf("period is negative")
	case wire.GetPeriodNanos() > limit/int64(count):
		return fmt.Errorf("period is too long")
	case abs(wire.GetFirstMonotonicNanos()) > limit/2 || abs(wire.GetFirstWallNanos()) > limit:
		return fmt.Errorf("time is out of range")
	case wire.GetTimeUncertaintyNanos() < 0 || wire.GetTimeUncertaintyNanos() > limit:
		return fmt.Errorf("uncertainty of the time is out of range")
	case wire.GetPeriodNanos() == 0 && len(wire.GetOffsetNanos()) != count:
		return fmt.Errorf("has %d time offsets for %d scans", len(wire.GetOffsetNanos()), count)
	case wire.GetPeriodNanos() != 0 && len(wire.GetOffsetNanos()) > 0:
		return fmt.Errorf("has both a period and time offsets")
	}
	for _, offset := range wire.GetOffsetNanos() {
		if abs(offset) > limit/2 {
			return fmt.Errorf("time offset is out of range")
		}
	}
	return nil
}

func abs(v int64) uint64 {
	if v < 0 {
		return -uint64(v)
	}
	return uint64(v)
}

// acceptColumn turns a column's codes or values into numbers; room is what codes are turned into.
func acceptColumn(wire *plugin.Column, count int, to *scan.Column, room *[]float64) error {
	to.Values, to.Flags = wire.GetValues(), nil
	if codes := wire.GetCodes(); len(codes) > 0 {
		if len(to.Values) > 0 {
			return fmt.Errorf("has both codes and values")
		}
		*room = (*room)[:0]
		for _, code := range codes {
			*room = append(*room, float64(code))
		}
		to.Values = *room
	}
	if n := len(to.Values); n != count && n != 1 {
		return fmt.Errorf("has %d values for %d scans", n, count)
	}
	if len(wire.GetAbsentIndices()) == 0 {
		return nil
	}
	return flagAbsent(wire.GetAbsentIndices(), to)
}

func flagAbsent(indices []uint32, to *scan.Column) error {
	to.Flags = make([]scan.Quality, len(to.Values))
	for _, k := range indices {
		if int(k) >= len(to.Flags) {
			return fmt.Errorf("absent index %d is beyond its %d values", k, len(to.Flags))
		}
		to.Flags[k] = scan.Missing
	}
	return nil
}
