package query

import (
	"errors"
	"fmt"
	"math"

	"github.com/spf13/cobra"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"github.com/ampledger/ampledger/cmd/internal/show"
	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// waveformPicture gathers a waveform to draw it: stretches of readings that follow one another, each with its 95 % interval. A reading at the
// sensor's limit is drawn as such, and ends a stretch as any other does that cannot be used.
type waveformPicture struct {
	header     *ampledgerv1.Waveform
	stretches  []*series
	limits     plotter.XYs
	unfinished bool // the newest stretch may go on
	next       uint64
}

func (p *waveformPicture) take(item *ampledgerv1.GetWaveformResponse) error {
	if item.GetWaveform() != nil {
		p.header = item.GetWaveform()
		return nil
	}
	f := item.GetFrame()
	if f.GetPrecedingCount() != p.next {
		p.unfinished = false
	}
	p.next = f.GetPrecedingCount() + uint64(len(f.GetCurrentAmperes()))
	for k, amperes := range f.GetCurrentAmperes() {
		seconds, quality := float64(frameTime(f, k)-p.header.GetOnsetMonotonicNanos())*1e-9, frameQuality(f, k)
		switch {
		case quality == 0:
			zero := math.Hypot(f.GetZeroUncertaintyAmperes(), f.GetGainUncertaintyRatio()*amperes)
			p.stretch().add(seconds, amperes, intervalFactor*math.Hypot(f.GetNoiseAmperes(), zero))
			continue
		case quality&scan.Saturated != 0 && !math.IsNaN(amperes):
			p.limits = append(p.limits, plotter.XY{X: seconds, Y: amperes})
		}
		p.unfinished = false
	}
	return nil
}

// stretch gives the one that the next reading belongs to.
func (p *waveformPicture) stretch() *series {
	if !p.unfinished {
		p.stretches, p.unfinished = append(p.stretches, new(series)), true
	}
	return p.stretches[len(p.stretches)-1]
}

// draw draws what was gathered into a file.
func (p *waveformPicture) draw(c *cobra.Command, name string) error {
	if len(p.stretches) == 0 && len(p.limits) == 0 {
		return errors.New("--plot: the waveform has no reading that could be drawn")
	}
	picture, err := p.picture()
	if err != nil {
		return err
	}
	return drawPlot(c, name, picture)
}

func (p *waveformPicture) picture() (*plot.Plot, error) {
	h := p.header
	made := panel("time from the onset, s", "current, A")
	made.Title.Text = fmt.Sprintf("%s/%s around %s, event %s", h.GetConductor(), h.GetChannel(), show.Clock(h.GetOnsetWallNanos()), h.GetEventId())
	for i, s := range p.stretches {
		legend := made.Legend
		if err := errors.Join(s.band(made, "its 95 % interval"), s.line(made, "current", liveColor, 1)); err != nil {
			return nil, err
		}
		if i > 0 {
			made.Legend = legend // they stand there already
		}
	}
	if len(p.limits) > 0 {
		dots, err := plotter.NewScatter(p.limits)
		if err != nil {
			return nil, err
		}
		dots.Color, dots.Shape, dots.Radius = fitColor, draw.CrossGlyph{}, vg.Points(2)
		made.Add(dots)
		made.Legend.Add("at the sensor's limit: at least", dots)
	}
	return headroom(made), nil
}
