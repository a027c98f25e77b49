package query

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// drawPlot draws one picture into the file that --plot names.
func drawPlot(c *cobra.Command, name string, p *plot.Plot) error {
	return drawFile(c, name, plotHeight, func(to draw.Canvas) { paint(to, p) })
}

// drawFile draws into the file that --plot names, in the format of its ending.
func drawFile(c *cobra.Command, name string, height vg.Length, paint func(to draw.Canvas)) error {
	image, err := draw.NewFormattedCanvas(plotWidth, height, plotFormat(name))
	if err != nil {
		return err
	}
	paint(draw.New(image))
	to, err := openOutput(c, name)
	if err != nil {
		return fmt.Errorf("--plot: %w", err)
	}
	_, err = image.WriteTo(to)
	return errors.Join(err, to.close())
}
