package rig

import (
	"fmt"
	"slices"
	"time"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// The messages a rig speaks in.
type (
	// Frame is consecutive scans, as columns.
	Frame = ampledgerv1.FeedFrame
	// Mark says what is wrong with some of them.
	Mark = ampledgerv1.FeedMark
)

// MaxScans is how many scans a frame may hold.
const MaxScans = pluginhost.MaxScans

// mostMarks bounds the work that a frame can make.
const mostMarks = 1024

// markable is what a scan may be marked with. A wrong clock is not marked but given.
const markable = scan.Missing | scan.NotFinite | scan.Saturated | scan.OutOfRange | scan.AuxiliaryMissing

// decode turns a frame into columns with its marks as flags. A frame in which anything is wrong leaves the decoder as it was.
func (s *Seat) decode(f *Frame, to *scan.Frame) error {
	inputs := s.source.description.GetInputs()
	if err := s.fill(f, inputs); err != nil {
		return err
	}
	if err := checkMarks(f, inputs); err != nil {
		return err
	}
	if err := s.decoder.Decode(&s.wire, to); err != nil {
		return err
	}
	s.flags = slices.Grow(s.flags, len(inputs))[:len(inputs)]
	for i, input := range inputs {
		s.flag(f, input.GetName(), &to.Columns[i], &s.flags[i])
	}
	return nil
}

// fill writes a frame down as a driver would give it; it shares the memory.
func (s *Seat) fill(f *Frame, inputs []*plugin.Input) error {
	w := &s.wire
	w.FirstSequence, w.FirstMonotonicNanos, w.ScanCount = f.GetFirstSequence(), f.GetFirstMonotonicNanos(), f.GetScanCount()
	w.PeriodNanos, w.OffsetNanos = f.GetPeriodNanos(), f.GetOffsetNanos()
	w.FirstWallNanos = s.source.label(f)
	for len(w.Columns) < len(f.GetColumns()) {
		w.Columns = append(w.Columns, &plugin.Column{})
	}
	w.Columns = w.Columns[:len(f.GetColumns())]
	for i, c := range f.GetColumns() {
		if i < len(inputs) {
			if err := checkUnit(c, inputs[i]); err != nil {
				return err
			}
		}
		w.Columns[i].Codes, w.Columns[i].Values = c.GetCodes(), c.GetValues()
	}
	return nil
}

// label is the wall-clock time of a frame.
func (s *Source) label(f *Frame) int64 {
	switch {
	case f.FirstWallNanos != nil:
		return f.GetFirstWallNanos()
	case s.lockstep:
		return f.GetFirstMonotonicNanos()
	}
	return time.Now().UnixNano()
}

// checkUnit wants codes of a converter and values of everything else.
func checkUnit(c *ampledgerv1.FeedColumn, input *plugin.Input) error {
	switch code := input.GetUnit() == "code"; {
	case code && len(c.GetValues()) > 0:
		return fmt.Errorf("input %q: is in counts: give codes, not values", input.GetName())
	case !code && len(c.GetCodes()) > 0:
		return fmt.Errorf("input %q: is in %s: give values, not codes", input.GetName(), input.GetUnit())
	}
	return nil
}

func checkMarks(f *Frame, inputs []*plugin.Input) error {
	if n := len(f.GetMarks()); n > mostMarks {
		return fmt.Errorf("has %d marks, %d are allowed", n, mostMarks)
	}
	for i, m := range f.GetMarks() {
		if err := checkMark(m, f.GetScanCount(), inputs); err != nil {
			return fmt.Errorf("mark %d: %w", i, err)
		}
	}
	return nil
}

func checkMark(m *Mark, scans uint32, inputs []*plugin.Input) error {
	known := m.GetInput() == "" || slices.ContainsFunc(inputs, func(in *plugin.Input) bool { return in.GetName() == m.GetInput() })
	switch end := uint64(m.GetFirstIndex()) + uint64(m.GetScanCount()); {
	case !known:
		return fmt.Errorf("there is no input %q", m.GetInput())
	case m.GetScanCount() == 0:
		return fmt.Errorf("marks no scan: give a scan_count")
	case end > uint64(scans):
		return fmt.Errorf("marks the scans %d to %d of %d, counted from 0", m.GetFirstIndex(), end-1, scans)
	case m.GetQualityBits() == 0 || m.GetQualityBits()&^uint32(markable) != 0:
		return fmt.Errorf("quality_bits are %d: give some of %d (%v), and a wrong clock as it is", m.GetQualityBits(), markable, markable)
	}
	return nil
}

// flag puts the marks of an input into its column.
func (s *Seat) flag(f *Frame, input string, to *scan.Column, room *[]scan.Quality) {
	for _, m := range f.GetMarks() {
		if m.GetInput() != "" && m.GetInput() != input {
			continue
		}
		if to.Flags == nil {
			*room = slices.Grow((*room)[:0], int(f.GetScanCount()))[:f.GetScanCount()]
			clear(*room)
			to.Flags = *room
		}
		for k := range m.GetScanCount() {
			to.Flags[m.GetFirstIndex()+k] |= scan.Quality(m.GetQualityBits())
		}
	}
}
