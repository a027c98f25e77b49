package query

import (
	"errors"
	"fmt"
	"image/color"
	"math"
	"slices"

	"github.com/spf13/cobra"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"github.com/ampledger/ampledger/daemon/score"
)

const scoreHeight = 20 * vg.Centimeter

var (
	bandColor    = color.RGBA{R: 174, G: 205, B: 232, A: 255}
	liveColor    = color.RGBA{R: 31, G: 90, B: 160, A: 255}
	compareColor = color.RGBA{R: 190, G: 120, B: 20, A: 255}
)

// drawScore draws one channel: above its offset, below its charge error, each with the 95 % band that was stated.
func drawScore(c *cobra.Command, name string, r *score.Run, channel string) error {
	own, compared := drawn(r, channel)
	above, err := offsetPicture(r, own)
	if err != nil {
		return err
	}
	below, err := errorPicture(own, compared)
	if err != nil {
		return err
	}
	return drawFile(c, name, scoreHeight, func(to draw.Canvas) { paintPanels(to, above, below) })
}

// drawn picks the channel's own estimator and what it is compared with; of a channel that is not scored, the first that is.
func drawn(r *score.Run, channel string) (own, compared *score.Score) {
	own = &r.Scores[0]
	for i := range r.Scores {
		if r.Scores[i].Channel == channel {
			own = &r.Scores[i]
			break
		}
	}
	for i := range r.Scores {
		if s := &r.Scores[i]; s.Channel == own.Channel && s.Estimator == score.FirstRest && s != own {
			compared = s
		}
	}
	return own, compared
}

// paintPanels draws two plots, one above the other, with their axes in line.
func paintPanels(to draw.Canvas, panels ...*plot.Plot) {
	to.SetColor(color.White)
	to.Fill(to.Rectangle.Path())
	var legends []plot.Legend
	column := make([][]*plot.Plot, len(panels))
	for i, p := range panels {
		legends = append(legends, p.Legend)
		p.Legend = plot.NewLegend()
		column[i] = []*plot.Plot{p}
	}
	tiles := draw.Tiles{Rows: len(panels), Cols: 1, PadTop: plotMargin, PadBottom: plotMargin, PadLeft: plotMargin, PadRight: plotMargin, PadY: plotMargin}
	for i, row := range plot.Align(column, tiles, to) {
		panels[i].Draw(row[0])
		legends[i].Draw(draw.Crop(panels[i].DataCanvas(row[0]), 0, -vg.Points(4), 0, -vg.Points(4)))
	}
}

func offsetPicture(r *score.Run, s *score.Score) (*plot.Plot, error) {
	scale, _ := timeUnit(s)
	p := panel("", "offset, A") // the time's label stands below
	p.Title.Text = fmt.Sprintf("%s of %s against %s, offset by %s", s.Channel, r.Conductor, r.Truth, s.Estimator)
	var live, truth series
	for _, at := range s.Trace {
		live.add(at.Seconds/scale, at.OffsetAmperes, intervalFactor*at.OffsetUncertaintyAmperes)
		if !math.IsNaN(at.TrueOffsetAmperes) {
			truth.add(at.Seconds/scale, at.TrueOffsetAmperes, 0)
		}
	}
	live.clamp(&truth)
	err := errors.Join(live.band(p, "its 95 % interval"), live.line(p, "offset subtracted", liveColor, 1.5), truth.line(p, "true offset", fitColor, 0.8))
	return headroom(p), err
}

func errorPicture(own, compared *score.Score) (*plot.Plot, error) {
	scale, unit := timeUnit(own)
	p := panel("device time, "+unit, "charge error, Ah")
	var live series
	for _, at := range own.Trace {
		live.add(at.Seconds/scale, at.ErrorCoulombs/coulombsPerAmpereHour, at.HalfWidthCoulombs/coulombsPerAmpereHour)
	}
	err := errors.Join(live.band(p, "95 % interval stated"), live.line(p, "charge error, "+own.Estimator, liveColor, 1.5))
	if compared != nil {
		var other series
		for _, at := range compared.Trace {
			other.add(at.Seconds/scale, at.ErrorCoulombs/coulombsPerAmpereHour, 0)
		}
		err = errors.Join(err, other.line(p, "charge error, "+compared.Estimator, compareColor, 1))
	}
	return headroom(p), err
}

// intervalFactor is the half width of a 95 % interval in standard uncertainties.
const intervalFactor = 1.96

// timeUnit gives the unit in which a trace is well read.
func timeUnit(s *score.Score) (seconds float64, name string) {
	last := 0.0
	if n := len(s.Trace); n > 0 {
		last = s.Trace[n-1].Seconds
	}
	switch {
	case last > 3*86400:
		return 86400, "d"
	case last > 2*3600:
		return 3600, "h"
	}
	return 1, "s"
}

// panel is an empty plot with a grid.
func panel(x, y string) *plot.Plot {
	p := plot.New()
	p.X.Label.Text, p.Y.Label.Text = x, y
	for _, axis := range []*plot.Axis{&p.X, &p.Y} {
		axis.Tick.Marker, axis.Padding = plot.TickerFunc(roundTicks), 0
	}
	p.Title.Padding, p.X.Label.Padding, p.Y.Label.Padding = vg.Points(8), vg.Points(4), vg.Points(4)
	lines := plotter.NewGrid()
	lines.Horizontal.Color, lines.Vertical.Color = gridColor, gridColor
	p.Add(lines)
	p.Legend.Top, p.Legend.Padding, p.Legend.ThumbnailWidth = true, vg.Points(3), vg.Points(28)
	return p
}

// headroom makes room for the legend above what is drawn.
func headroom(p *plot.Plot) *plot.Plot {
	p.Y.Max += 0.3 * (p.Y.Max - p.Y.Min)
	return p
}

// mostTicks is how many ticks an axis has room for.
const mostTicks = 9

// roundTicks marks whole multiples of 1, 2 or 5 times a power of ten.
func roundTicks(least, greatest float64) (ticks []plot.Tick) {
	step := math.Pow(10, math.Floor(math.Log10((greatest-least)/mostTicks)))
	for _, factor := range [...]float64{2, 5, 10} {
		if (greatest-least)/step > mostTicks {
			step = factor * math.Pow(10, math.Floor(math.Log10((greatest-least)/mostTicks)))
		}
	}
	for k := math.Ceil(least / step); k*step <= greatest; k++ {
		at := k*step + 0 // which makes 0 of -0
		ticks = append(ticks, plot.Tick{Value: at, Label: fmt.Sprintf("%.4g", at)})
	}
	return ticks
}

// series is a course over time, with a band around it.
type series struct {
	points       plotter.XYs
	upper, lower plotter.XYs
}

func (s *series) add(x, y, halfWidth float64) {
	s.points = append(s.points, plotter.XY{X: x, Y: y})
	s.upper = append(s.upper, plotter.XY{X: x, Y: y + halfWidth})
	s.lower = append(s.lower, plotter.XY{X: x, Y: y - halfWidth})
}

// clamp cuts a band where it is wide for a short time only, such as before the first rest, but not within what other shows: else nothing but
// that could be seen.
func (s *series) clamp(other *series) {
	if len(s.points) == 0 {
		return
	}
	const seldom = 0.02
	least, greatest := quantile(s.lower, seldom), quantile(s.upper, 1-seldom)
	for _, at := range append(append(plotter.XYs{}, s.points...), other.points...) {
		least, greatest = min(least, at.Y), max(greatest, at.Y)
	}
	for i := range s.points {
		s.lower[i].Y, s.upper[i].Y = max(s.lower[i].Y, least), min(s.upper[i].Y, greatest)
	}
}

func quantile(of plotter.XYs, share float64) float64 {
	var values []float64
	for _, at := range of {
		values = append(values, at.Y)
	}
	slices.Sort(values)
	return stat.Quantile(share, stat.Empirical, values, nil)
}

func (s *series) line(p *plot.Plot, label string, shade color.Color, points float64) error {
	if len(s.points) == 0 {
		return nil
	}
	line, err := plotter.NewLine(s.points)
	if err != nil {
		return err
	}
	line.Color, line.Width = shade, vg.Points(points)
	p.Add(line)
	p.Legend.Add(label, line)
	return nil
}

func (s *series) band(p *plot.Plot, label string) error {
	if len(s.points) == 0 {
		return nil
	}
	outline := append(plotter.XYs{}, s.upper...)
	for i := len(s.lower) - 1; i >= 0; i-- {
		outline = append(outline, s.lower[i])
	}
	area, err := plotter.NewPolygon(outline)
	if err != nil {
		return err
	}
	area.Color, area.LineStyle.Width = bandColor, 0
	p.Add(area)
	p.Legend.Add(label, area)
	return nil
}
