package pipeline

import (
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// mostReadings is how many readings may wait for one estimator, and how many are retained for a candidate: 32 MB.
const mostReadings = 4 << 20

// fullRate is what a summary sums up: the time of each scan and each lane's readings. It is not changed once it is made.
type fullRate struct {
	offsets []int64 // ns after the summary's first scan
	amperes map[*Lane][]float64
}

// size counts the readings.
func (f *fullRate) size() (n int) {
	if f != nil {
		n = len(f.offsets) * len(f.amperes)
	}
	return n
}

// gathering is a side's readings of the open summary, if any estimator wants them.
type gathering struct {
	wanted  bool
	offsets []int64
}

// begin settles at the beginning of a summary whether its readings are gathered.
func (g *gathering) begin(wanted bool, lanes []*Lane) {
	*g = gathering{wanted: wanted}
	for _, lane := range lanes {
		lane.tracing, lane.trace = wanted, nil
	}
}

// add notes the times of a span's scans.
func (g *gathering) add(span *scan.Frame, first int64) {
	if !g.wanted {
		return
	}
	for k := range span.Count {
		g.offsets = append(g.offsets, span.At(k)-first)
	}
}

// take gives what was gathered; nil = nothing.
func (g *gathering) take(lanes []*Lane) *fullRate {
	if !g.wanted {
		return nil
	}
	full := &fullRate{offsets: g.offsets, amperes: map[*Lane][]float64{}}
	for _, lane := range lanes {
		full.amperes[lane] = lane.trace
	}
	return full
}

// keepTrace keeps statically compensated readings for estimators; an unusable one is NaN.
func (l *Lane) keepTrace(r *scan.Readings) {
	if !l.tracing {
		return
	}
	for k, y := range r.Amperes {
		if r.QualityAt(k) != 0 {
			y = math.NaN()
		}
		l.trace = append(l.trace, y)
	}
}

// wantsReadings tells whether any of the estimators does.
func (e *estimation) wantsReadings() bool {
	for _, r := range []*run{e.current, e.pending} {
		if r != nil && r.started.WantsReadings {
			return true
		}
	}
	for _, s := range e.shadows {
		if s.started.WantsReadings {
			return true
		}
	}
	return false
}

// retain keeps a summary for candidates, and the newest readings.
func (e *estimation) retain(next *item) {
	if len(e.retained) == retainedSummaries {
		e.retained = append(e.retained[:0], e.retained[retainedSummaries/4:]...)
	}
	e.retained = append(e.retained, *next)
	if next.full == nil {
		return
	}
	total := 0
	for i := len(e.retained) - 1; i >= 0; i-- {
		if total += e.retained[i].full.size(); total > mostReadings {
			e.retained[i].full = nil
		}
	}
}

// carry adds readings to an estimator's own copy of a summary.
func (f *fullRate) carry(own *plugin.Summary, at []stand) {
	own.ScanOffsetNanos = f.offsets
	for i, channel := range own.GetChannels() {
		channel.ReadingAmperes = f.amperes[at[i].lane]
	}
}
