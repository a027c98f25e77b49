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
	"gonum.org/v1/plot/vg/draw"

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
	image, err := draw.NewFormattedCanvas(plotWidth, plotHeight, plotFormat(name))
	if err != nil {
		return err
	}
	paint(draw.New(image), p)
	to, err := openOutput(c, name)
	if err != nil {
		return fmt.Errorf("--plot: %w", err)
	}
	_, err = image.WriteTo(to)
	return errors.Join(err, to.close())
}

// budgetPicture is the expanded uncertainty of every channel's readings over the current, at one temperature.
func budgetPicture(s *design.Study, celsius float64) (*plot.Plot, error) {
	p := panel("current, A", fmt.Sprintf("half width of the %.4g %% interval, A", 100*s.Question.Probability))
	p.Title.Text = fmt.Sprintf("Uncertainty of a reading at %.4g °C", celsius)
	p.Y.Label.Text = "± A"
	for _, axis := range []*plot.Axis{&p.X, &p.Y} {
		axis.Scale, axis.Tick.Marker = plot.LogScale{}, plot.TickerFunc(decades)
	}
	extent := frame{math.Inf(1), 0, math.Inf(1), 0}
	for i, ch := range s.Channels {
		var points plotter.XYs
		for _, at := range s.Curve(i, celsius) {
			if at.Amperes > 0 && at.ExpandedAmperes > 0 {
				points = append(points, plotter.XY{X: at.Amperes, Y: at.ExpandedAmperes})
				extent.left, extent.right = min(extent.left, at.Amperes), max(extent.right, at.Amperes)
				extent.bottom, extent.top = min(extent.bottom, at.ExpandedAmperes), max(extent.top, at.ExpandedAmperes)
			}
		}
		if len(points) == 0 {
			continue // nothing is stated of it
		}
		line, err := plotter.NewLine(points)
		if err != nil {
			return nil, err
		}
		line.Color, line.Dashes, line.Width = channelColors[i%len(channelColors)], channelDashes[i%len(channelDashes)], vg.Points(1.5)
		p.Add(line)
		p.Legend.Add(ch.Conductor+" / "+ch.Channel, line)
	}
	if extent.right == 0 {
		return nil, errors.New("nothing is stated of any channel's uncertainty: there is nothing to draw")
	}
	p.X.Min, p.X.Max = extent.left, extent.right
	p.Y.Min, p.Y.Max = math.Pow(10, math.Floor(math.Log10(extent.bottom))), math.Pow(10, math.Ceil(math.Log10(3*extent.top)))
	return p, nil
}
