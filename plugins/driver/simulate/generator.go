package simulate

import (
	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// generator makes the frames of one stream. Their memory is used again from one to the next.
type generator struct {
	plan    *plan
	run     *physics.Generator
	scan    physics.Scan
	sources []source
	frame   plugin.Frame
	offsets []int64 // ns, of the scans after the first of their frame
	most    int64   // scans in a frame
	made    int64   // scans, lost ones too
}

func newGenerator(plan *plan) *generator {
	g := &generator{plan: plan, run: physics.New(plan.rig, plan.seed), sources: plan.sources()}
	g.most = min(int64(plan.playback.Scans), plan.playback.HoldNanos/plan.rig.PeriodNanos+1)
	for range g.sources {
		g.frame.Columns = append(g.frame.Columns, &plugin.Column{})
	}
	return g
}

// elapsed gives the time of the newest scan made, in ns after the first.
func (g *generator) elapsed() int64 { return (g.made - 1) * g.plan.rig.PeriodNanos }

// next gives the next frame, nil after the last. It has no scans if those that were due are lost.
func (g *generator) next() *plugin.Frame {
	g.clear()
	for range g.most {
		given, more := g.run.Step(&g.scan)
		if !more {
			break
		}
		g.made++
		if given {
			g.add()
		} else if g.frame.ScanCount > 0 {
			break
		}
	}
	if g.made == g.plan.rig.Scans && g.frame.ScanCount == 0 {
		return nil
	}
	g.time()
	return &g.frame
}

func (g *generator) clear() {
	g.frame.ScanCount, g.offsets = 0, g.offsets[:0]
	for _, column := range g.frame.Columns {
		column.Codes, column.Values, column.AbsentIndices = column.Codes[:0], column.Values[:0], column.AbsentIndices[:0]
	}
}

// add appends the newest scan.
func (g *generator) add() {
	if g.frame.ScanCount == 0 {
		g.frame.FirstSequence, g.frame.FirstMonotonicNanos = g.scan.Sequence, g.scan.MonotonicNanos
	}
	for i := range g.sources {
		g.sources[i].read(&g.scan, g.frame.ScanCount, g.frame.Columns[i])
	}
	g.offsets = append(g.offsets, g.scan.MonotonicNanos-g.frame.FirstMonotonicNanos)
	g.frame.ScanCount++
}

// time gives the scans a period, or where one does not fit each its own time.
func (g *generator) time() {
	period := g.plan.rig.PeriodNanos
	g.frame.PeriodNanos, g.frame.OffsetNanos = period, nil
	for i, offset := range g.offsets {
		if offset != int64(i)*period {
			g.frame.PeriodNanos, g.frame.OffsetNanos = 0, g.offsets
			return
		}
	}
}
