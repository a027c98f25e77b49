package simulate

import (
	"github.com/ampledger/ampledger/plugins/plugin"
)

// generator makes the frames of one stream. Their memory is used again from one to the next.
type generator struct {
	plan    *plan
	sources []source
	frame   plugin.Frame
	most    int64 // scans in a frame
	made    int64 // scans
}

func newGenerator(plan *plan) *generator {
	g := &generator{plan: plan, sources: plan.sources(), most: int64(plan.playback.Scans)}
	g.most = min(g.most, plan.playback.HoldNanos/plan.period+1)
	for range g.sources {
		g.frame.Columns = append(g.frame.Columns, &plugin.Column{})
	}
	g.frame.PeriodNanos = plan.period
	return g
}

// next gives the next frame, nil after the last.
func (g *generator) next() *plugin.Frame {
	scans := min(g.most, g.plan.scans-g.made)
	if scans == 0 {
		return nil
	}
	for _, column := range g.frame.Columns {
		column.Codes, column.Values = column.Codes[:0], column.Values[:0]
	}
	for scan := g.made; scan < g.made+scans; scan++ {
		now := g.plan.world.at(scan * g.plan.period)
		for i, source := range g.sources {
			source.read(now, g.frame.Columns[i])
		}
	}
	g.frame.FirstSequence, g.frame.ScanCount = uint64(g.made), uint32(scans)
	g.frame.FirstMonotonicNanos = g.made * g.plan.period
	g.made += scans
	return &g.frame
}
