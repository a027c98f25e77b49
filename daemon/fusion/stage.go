package fusion

import (
	"fmt"
	"math"
	"slices"

	"github.com/ampledger/ampledger/daemon/scan"
)

// Stage fuses the channels of one conductor.
type Stage struct {
	channels int
	gapNanos int64
	table    table

	// What the summary states so far, and the set in use where that grew last; 0 = nothing was usable yet.
	stated  statement
	stating set

	began   bool   // there was a usable reading
	last    knot   // the newest one
	hidden  bool   // since then, a reading that could not be used, or was lost, hides what flowed
	any     bool   // there was a batch
	next    uint64 // the sequence that follows on it
	start   float64
	stretch stretch
	shares  [MostChannels]share
	apart   [MostChannels]apart

	reading knot // the one being made
	amperes []float64
	quality []scan.Quality
}

// New makes a stage for so many channels, 2 to MostChannels; any other number is a fault of the caller and panics. An interval between
// two usable readings longer than gapNanos is a gap, as it is to the charge account; 0 = no limit. Until the first Weigh all channels
// weigh the same and no error is stated.
func New(channels int, gapNanos int64) *Stage {
	if channels < 2 || channels > MostChannels {
		panic(fmt.Sprintf("fusion: %d channels", channels))
	}
	if gapNanos == 0 {
		gapNanos = math.MaxInt64
	}
	s := &Stage{channels: channels, gapNanos: gapNanos}
	s.table.rows = make([]row, 1<<channels)
	s.table.summary = 1
	return s
}

// Weigh begins a summary: parts, one a channel, settle its weights, and what was seen in the summary before what it states.
func (s *Stage) Weigh(parts []Part) {
	s.flush()
	for i := range s.apart {
		s.apart[i].take(&s.table.seen[i])
	}
	s.table.begin(parts[:s.channels])
	s.stated, s.stating = statement{}, 0
}

// Apply fuses readings of the same scans, one a channel, from scan from on, and fills all of to. It gives the scan up to which it came,
// which to leaves out: the number of scans, or the first at which more has to be stated than before. Then it must be called again from
// there before it gets other readings. The parts hold a scan at least and lie within one summary.
//
// A fused reading is usable if any of its parts is. If none is, it has all their causes and the amperes of greatest magnitude, NaN if
// there are none. It is a mean over its interval if all parts are; a channel is always of the same kind. Raw is nil. Age is that of
// the oldest estimate used; if a channel used has none, there is none (-1), and if one is stale, so is the whole. The slices are
// the Stage's until the next Apply.
func (s *Stage) Apply(parts []*scan.Readings, from int, to *scan.Readings) (next int) {
	n := s.open(parts, from, to)
	steady := s.steady(parts)
	for k := from; k < n; k++ {
		if !s.take(parts, k, to) {
			n = k
			break
		}
		if steady != 0 && s.last.channels == steady && s.last.sequence == parts[0].Sequence+uint64(k) {
			k = s.straight(parts, k, to)
		}
	}
	s.close(parts, from, n, to)
	return n
}

// open begins an output.
func (s *Stage) open(parts []*scan.Readings, from int, to *scan.Readings) (scans int) {
	r := parts[0]
	scans = r.Len()
	to.Usable, to.Causes, to.Minimum, to.Maximum = 0, 0, math.Inf(1), math.Inf(-1)
	to.Averaged, s.start = true, 0
	for i, part := range parts[:s.channels] {
		s.reading.offset[i] = part.Offset
		if !part.Averaged {
			to.Averaged, s.start = false, 0.5
		}
	}
	if first := r.Sequence + uint64(from); s.any && first > s.next {
		s.hidden = true
	}
	s.amperes = slices.Grow(s.amperes[:0], scans)[:scans]
	s.quality = slices.Grow(s.quality[:0], scans)[:scans]
	clear(s.quality)
	return scans
}

// close states what the output from one scan to another is.
func (s *Stage) close(parts []*scan.Readings, from, next int, to *scan.Readings) {
	r := parts[0]
	to.Clock = r.From(from, next)
	to.Raw, to.Amperes, to.Quality = nil, s.amperes[from:next], nil
	if to.Causes != 0 {
		to.Quality = s.quality[from:next]
	}
	s.any, s.next = true, r.Sequence+uint64(next)
	s.state(parts, r.At(from)-r.At(0), to)
}
