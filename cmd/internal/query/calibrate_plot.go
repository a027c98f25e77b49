package query

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// draw draws the residuals into a file.
func (f *fitted) draw(c *cobra.Command, name string) error {
	picture, err := f.residuals()
	if err != nil {
		return err
	}
	return drawPlot(c, name, picture)
}

// residuals makes the plot: each point's distance from the curve with its 95 % interval, by how it was come to, over the curve's own interval.
func (f *fitted) residuals() (*plot.Plot, error) {
	p := panel("reference current, A", "indication less the curve, A")
	p.Title.Text = fmt.Sprintf("Residuals of %s/%s, record %d", f.record.GetConductor(), f.record.GetChannel(), f.record.GetRecordSequence())
	curve := &series{}
	for _, at := range f.record.GetCalibration().GetPredicted() {
		curve.add(at.GetCurrentAmperes(), 0, intervalFactor*at.GetStandardUncertaintyAmperes())
	}
	if err := curve.band(p, "the curve's 95 % interval"); err != nil {
		return nil, err
	}
	for _, of := range []struct {
		sweep ampledgerv1.Sweep
		label string
		shape draw.GlyphDrawer
	}{
		{ampledgerv1.Sweep_SWEEP_UP, "going up", draw.TriangleGlyph{}}, {ampledgerv1.Sweep_SWEEP_DOWN, "going down", draw.BoxGlyph{}},
		{ampledgerv1.Sweep_SWEEP_UNSPECIFIED, "points", draw.CircleGlyph{}},
	} {
		if err := f.drawPoints(p, of.sweep, of.label, of.shape); err != nil {
			return nil, err
		}
	}
	margin := 0.03 * (p.X.Max - p.X.Min)
	p.X.Min, p.X.Max = p.X.Min-margin, p.X.Max+margin
	return headroom(p), nil
}

func (f *fitted) drawPoints(p *plot.Plot, sweep ampledgerv1.Sweep, label string, shape draw.GlyphDrawer) error {
	var points plotter.XYs
	var errs plotter.YErrors
	k := f.record.GetCalibration()
	for i, of := range f.points {
		if of.GetSweep() == sweep {
			half := intervalFactor * math.Hypot(of.GetIndicatedUncertaintyAmperes(), k.GetGainRatio()*of.GetReferenceUncertaintyAmperes())
			points = append(points, plotter.XY{X: of.GetReferenceAmperes(), Y: k.GetResiduals()[i].GetResidualAmperes()})
			errs = append(errs, struct{ Low, High float64 }{half, half})
		}
	}
	if len(points) == 0 {
		return nil
	}
	bars, err := plotter.NewYErrorBars(struct {
		plotter.XYer
		plotter.YErrorer
	}{points, errs})
	if err != nil {
		return err
	}
	dots, err := plotter.NewScatter(points)
	if err != nil {
		return err
	}
	bars.Color, dots.Color, dots.Shape, dots.Radius = fitColor, fitColor, shape, vg.Points(2.5)
	p.Add(bars, dots)
	p.Legend.Add(label, dots)
	return nil
}
