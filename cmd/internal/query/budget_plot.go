package query

import (
	"errors"
	"fmt"
	"image/color"
	"math"

	"github.com/spf13/cobra"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"

	"github.com/ampledger/ampledger/daemon/design"
)

// channelColors tell channels apart, also in print without colour by their dashes.
var (
	channelColors = []color.Color{liveColor, compareColor, fitColor, color.RGBA{R: 44, G: 140, B: 44, A: 255}, color.RGBA{R: 148, G: 103, B: 189, A: 255}}
	channelDashes = [][]vg.Length{nil, {6, 3}, {2, 2}, {8, 3, 2, 3}, {3, 5}}
)

// drawBudget draws a study into a file.
func drawBudget(c *cobra.Command, name string, s *design.Study) error {
	p, err := budgetPicture(s, s.Question.Celsius[0])
	if err != nil {
		return err
	}
	return drawPlot(c, name, p)
}

// budgetPicture is the expanded uncertainty of every channel's readings over the current, at one temperature.
func budgetPicture(s *design.Study, celsius float64) (*plot.Plot, error) {
	p := logarithmic(fmt.Sprintf("Half width of the %.4g %% interval of a reading at %.4g °C", 100*s.Question.Probability, celsius), "current, A", "± A")
	extent := emptyFrame()
	for i, ch := range s.Channels {
		var points plotter.XYs
		for _, at := range s.Curve(i, celsius) {
			points = append(points, plotter.XY{X: at.Amperes, Y: at.ExpandedAmperes})
		}
		if err := extent.addCurve(p, points, ch.Conductor+" / "+ch.Channel, i, 0); err != nil {
			return nil, err
		}
	}
	return p, extent.fit(p)
}

// chargePicture is the uncertainty of every channel's charge over time, at its first current and temperature: whole where nobody shows the zero,
// dashed with rests.
func chargePicture(s *design.Study) (*plot.Plot, error) {
	p := logarithmic(fmt.Sprintf("Half width of the %.4g %% interval of a charge at %.4g A and %.4g °C", 100*s.Question.Probability,
		s.Channels[0].Cases[0].Amperes, s.Question.Celsius[0]), "counted for, h", "± Ah")
	extent := emptyFrame()
	for i, ch := range s.Channels {
		if ch.Cases[0].OutOfRange || ch.Cases[0].Amperes != s.Channels[0].Cases[0].Amperes {
			continue
		}
		var alone, rests plotter.XYs
		for _, q := range s.ChargeCurve(i, 0) {
			alone = append(alone, plotter.XY{X: q.Seconds / 3600, Y: q.AloneAmpereHours})
			rests = append(rests, plotter.XY{X: q.Seconds / 3600, Y: q.RestsAmpereHours})
		}
		name := ch.Conductor + " / " + ch.Channel
		if err := errors.Join(extent.addCurve(p, alone, name, i, 0), extent.addCurve(p, rests, name+", with rests", i, 1)); err != nil {
			return nil, err
		}
	}
	return p, extent.fit(p)
}

// logarithmic is an empty picture with two logarithmic axes.
func logarithmic(title, x, y string) *plot.Plot {
	p := panel(x, y)
	p.Title.Text, p.Legend.Left = title, true // curves rise to the right
	for _, axis := range []*plot.Axis{&p.X, &p.Y} {
		axis.Scale, axis.Tick.Marker = plot.LogScale{}, plot.TickerFunc(decades)
	}
	return p
}

// emptyFrame is one that nothing was drawn in yet.
func emptyFrame() *frame { return &frame{math.Inf(1), 0, math.Inf(1), 0} }

// addCurve draws what of a curve is above zero, in a channel's colour, and widens the frame to it.
func (f *frame) addCurve(p *plot.Plot, points plotter.XYs, label string, shade, dash int) error {
	var drawn plotter.XYs
	for _, at := range points {
		if at.X > 0 && at.Y > 0 {
			drawn = append(drawn, at)
			f.left, f.right = min(f.left, at.X), max(f.right, at.X)
			f.bottom, f.top = min(f.bottom, at.Y), max(f.top, at.Y)
		}
	}
	if len(drawn) < 2 {
		return nil // nothing is stated of it
	}
	line, err := plotter.NewLine(drawn)
	if err != nil {
		return err
	}
	line.Color, line.Dashes, line.Width = channelColors[shade%len(channelColors)], channelDashes[(shade+dash)%len(channelDashes)], vg.Points(1.5)
	if dash > 0 {
		line.Width = vg.Points(1)
	}
	p.Add(line)
	p.Legend.Add(label, line)
	return nil
}

// fit gives the picture whole decades of height, with room for the legend.
func (f *frame) fit(p *plot.Plot) error {
	if f.right == 0 {
		return errors.New("nothing is stated of any channel's uncertainty: there is nothing to draw")
	}
	p.X.Min, p.X.Max = f.left, f.right
	p.Y.Min, p.Y.Max = math.Pow(10, math.Floor(math.Log10(f.bottom))), math.Pow(10, math.Ceil(math.Log10(3*f.top)))
	return nil
}
