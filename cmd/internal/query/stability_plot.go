package query

import (
	"fmt"
	"image/color"
	"math"
	"path/filepath"

	"github.com/spf13/cobra"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
)

const (
	plotWidth  = 18 * vg.Centimeter
	plotHeight = 12 * vg.Centimeter
	plotMargin = 4 * vg.Millimeter
	curveSteps = 200
)

var (
	ink       = color.RGBA{A: 255}
	fitColor  = color.RGBA{R: 200, G: 30, B: 30, A: 255}
	gridColor = color.RGBA{R: 225, G: 225, B: 225, A: 255}
)

// drawStability draws the deviations into a file.
func drawStability(c *cobra.Command, name string, s *zeroStudy) error {
	p, err := s.picture()
	if err != nil {
		return err
	}
	return drawPlot(c, name, p)
}

// paint draws a plot with its legend within the frame, on ground of its own.
func paint(to draw.Canvas, p *plot.Plot) {
	legend := p.Legend
	p.Legend = plot.NewLegend()
	to.SetColor(color.White)
	to.Fill(to.Rectangle.Path())
	to = draw.Crop(to, plotMargin, -plotMargin, plotMargin, -plotMargin)
	p.Draw(to)
	legend.Draw(draw.Crop(p.DataCanvas(to), 0, -vg.Points(4), 0, -vg.Points(4)))
}

// picture makes the log–log plot: points with their intervals, the fitted curve and its parts.
func (s *zeroStudy) picture() (*plot.Plot, error) {
	p := plot.New()
	p.Title.Text = fmt.Sprintf("Overlapping Allan deviation of %s in %s", s.log.column, filepath.Base(s.log.name))
	p.X.Label.Text = "averaging time τ, s"
	p.Y.Label.Text = "σ, A" // a long one takes room above the frame on a logarithmic axis
	for _, axis := range []*plot.Axis{&p.X, &p.Y} {
		axis.Scale, axis.Tick.Marker, axis.Padding = plot.LogScale{}, plot.TickerFunc(decades), 0
	}
	p.Title.Padding, p.X.Label.Padding, p.Y.Label.Padding = vg.Points(8), vg.Points(4), vg.Points(4)
	lines := plotter.NewGrid()
	lines.Horizontal.Color, lines.Vertical.Color = gridColor, gridColor
	p.Add(lines)
	f := s.frame()
	for _, part := range s.curves() {
		if err := part.draw(p, f); err != nil {
			return nil, err
		}
	}
	if err := addPoints(p, s.points, f.top); err != nil {
		return nil, err
	}
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = f.left, f.right, f.bottom, f.top
	p.Legend.Top, p.Legend.Padding, p.Legend.ThumbnailWidth = true, vg.Points(3), vg.Points(28)
	return p, nil
}

// decades marks the powers of ten with numbers and what lies between them without.
func decades(least, greatest float64) (ticks []plot.Tick) {
	for k := math.Floor(math.Log10(least)); k <= math.Ceil(math.Log10(greatest)); k++ {
		for i := 1.0; i < 10; i++ {
			tick := plot.Tick{Value: i * math.Pow(10, k)}
			if i == 1 {
				tick.Label = fmt.Sprintf("%g", tick.Value)
			}
			if tick.Value >= least*(1-1e-9) && tick.Value <= greatest*(1+1e-9) {
				ticks = append(ticks, tick)
			}
		}
	}
	return ticks
}

// frame is the picture's extent.
type frame struct{ left, right, bottom, top float64 }

// frame goes over whole decades, so that every axis has its numbers, with one for the legend above the points. Intervals of hardly any
// freedom reach out of it, and are cut there.
func (s *zeroStudy) frame() frame {
	f := frame{s.points[0].TauSeconds / 1.5, s.points[len(s.points)-1].TauSeconds * 1.5, math.Inf(1), 0}
	for _, p := range s.points {
		if p.DeviationAmperes > 0 {
			f.bottom, f.top = min(f.bottom, p.LowerAmperes), max(f.top, p.DeviationAmperes)
		}
	}
	f.bottom, f.top = math.Pow(10, math.Floor(math.Log10(f.bottom))), math.Pow(10, math.Ceil(math.Log10(6*f.top)))
	f.right = max(f.right, 20*f.left)
	return f
}

// curve is a line of the picture.
type curve struct {
	label string
	at    func(tau float64) float64
	color color.Color
	width vg.Length
	dash  []vg.Length
}

func (s *zeroStudy) curves() []curve {
	part := func(name, unit string, c stability.Coefficient, shade color.Color, dash []vg.Length, pick func(white, flicker, walk, drift float64) float64) curve {
		label := fmt.Sprintf("%s = %.2g %s", name, c.Value, unit)
		if !c.Resolved() {
			label += " (not resolved)"
		}
		return curve{label, func(tau float64) float64 { return pick(s.model.Parts(tau)) }, shade, vg.Points(1), dash}
	}
	m := s.model
	return []curve{
		part("white noise, N", "A·√s", m.WhiteDensity, color.RGBA{R: 31, G: 119, B: 180, A: 255}, []vg.Length{6, 3}, func(v, _, _, _ float64) float64 { return v }),
		part("flicker, B", "A", m.FlickerFloor, color.RGBA{R: 44, G: 140, B: 44, A: 255}, []vg.Length{2, 2}, func(_, v, _, _ float64) float64 { return v }),
		part("random walk, K", "A/√s", m.WalkDensity, color.RGBA{R: 148, G: 103, B: 189, A: 255}, []vg.Length{8, 3, 2, 3}, func(_, _, v, _ float64) float64 { return v }),
		part("drift, R", "A/s", m.Drift, color.RGBA{R: 140, G: 86, B: 75, A: 255}, []vg.Length{3, 5}, func(_, _, _, v float64) float64 { return v }),
		{"fit", m.DeviationAmperes, fitColor, vg.Points(1.5), nil},
	}
}

// draw adds what of a curve lies within the frame; a part that is nothing is not drawn.
func (c curve) draw(p *plot.Plot, f frame) error {
	var points plotter.XYs
	for i := range curveSteps + 1 {
		tau := f.left * math.Pow(f.right/f.left, float64(i)/curveSteps)
		if v := c.at(tau); v >= f.bottom && v <= f.top {
			points = append(points, plotter.XY{X: tau, Y: v})
		}
	}
	if len(points) < 2 {
		return nil
	}
	line, err := plotter.NewLine(points)
	if err != nil {
		return err
	}
	line.Color, line.Width, line.Dashes = c.color, c.width, c.dash
	p.Add(line)
	p.Legend.Add(c.label, line)
	return nil
}

// addPoints adds the deviations with their intervals.
func addPoints(p *plot.Plot, points []stability.Point, top float64) error {
	var at struct {
		plotter.XYs
		plotter.YErrors
	}
	for _, each := range points {
		if each.DeviationAmperes > 0 {
			at.XYs = append(at.XYs, plotter.XY{X: each.TauSeconds, Y: each.DeviationAmperes})
			at.YErrors = append(at.YErrors, struct{ Low, High float64 }{each.DeviationAmperes - each.LowerAmperes, min(top, each.UpperAmperes) - each.DeviationAmperes})
		}
	}
	bars, err := plotter.NewYErrorBars(at)
	if err != nil {
		return err
	}
	dots, err := plotter.NewScatter(at.XYs)
	if err != nil {
		return err
	}
	bars.Color, dots.Color = ink, ink
	dots.Shape, dots.Radius = draw.CircleGlyph{}, vg.Points(2.2)
	p.Add(bars, dots)
	p.Legend.Add("measured, 95 % interval", dots)
	return nil
}
