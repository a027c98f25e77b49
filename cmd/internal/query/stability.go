package query

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/daemon/metrology/stability"
)

type stabilityFlags struct {
	column, timeColumn, temperatureColumn string
	scale, from, to, interval             float64
	plot                                  string
	json                                  *bool
}

func stabilityCommand() *cobra.Command {
	flags := stabilityFlags{}
	c := &cobra.Command{
		Use: "stability FILE", Short: "Say from a log without current how noisy a sensor is and how its zero wanders", Args: cli.Arguments(1),
		Long: "stability reads a CSV recording taken while no current flowed. It gives the overlapping Allan deviation with its limits, the noise\n" +
			"density, flicker floor and random-walk density behind it, what the zero costs in charge, and the settings that follow for the\n" +
			"channel and its estimator. A gap (more than 2.5 intervals without a reading) splits the log; readings that are not evenly spaced\n" +
			"are averaged over the median interval. What was done is said. At most 20 million readings, for which it takes some 1.5 GB of memory.",
	}
	f := c.Flags()
	f.StringVar(&flags.column, "column", "", "column of the current; default: the first that is named like one")
	f.StringVar(&flags.timeColumn, "time-column", "", "column of the time in seconds; default: the first that is named like one")
	f.StringVar(&flags.temperatureColumn, "temperature-column", "", "column of the sensor's temperature in °C; default: none")
	f.Float64Var(&flags.scale, "scale", 1, "amperes per unit of the column, such as 0.001 for mA; negative reverses the sign")
	f.Float64Var(&flags.from, "from", math.Inf(-1), "take the log from this time of the time column on, s")
	f.Float64Var(&flags.to, "to", math.Inf(1), "take the log up to this time of the time column, s")
	f.Float64Var(&flags.interval, "interval", 0, "average to this interval, s; default: the median of the log's")
	f.StringVar(&flags.plot, "plot", "", "draw the deviations into this file, .svg or .png")
	flags.json = c.Flags().Bool("json", false, "write JSON; the unit is in each name")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := flags.check(); err != nil {
			return err
		}
		return runStability(c.Context(), c, args[0], flags)
	}
	return c
}

// check refuses flags that no log could go with.
func (f *stabilityFlags) check() error {
	switch {
	case !(f.from < f.to):
		return cli.Usagef("--from %g is not before --to %g", f.from, f.to)
	case f.scale == 0 || math.IsNaN(f.scale) || math.IsInf(f.scale, 0):
		return cli.Usagef("--scale %g makes no amperes: it must be a finite number other than 0", f.scale)
	case !(f.interval >= 0) || f.interval > 1e9:
		return cli.Usagef("--interval %g must be above 0, in seconds", f.interval)
	case f.plot != "" && plotFormat(f.plot) == "":
		return badPlotName(f.plot)
	}
	return nil
}

// plotFormat gives the format that a file's name asks for; "" = none that is drawn.
func plotFormat(name string) string {
	switch extension := strings.ToLower(filepath.Ext(name)); extension {
	case ".svg", ".png":
		return extension[1:]
	}
	return ""
}

func badPlotName(name string) error {
	return cli.Usagef("--plot %s: the name must end in .svg or .png", name)
}

func runStability(ctx context.Context, c *cobra.Command, name string, flags stabilityFlags) error {
	progress := cli.NewProgress(c.ErrOrStderr())
	defer progress.Done()
	log, err := readLog(ctx, name, flags, progress)
	if err != nil {
		return err
	}
	found, err := study(log, flags.interval)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if flags.plot != "" {
		if err := drawStability(c, flags.plot, found); err != nil {
			return err
		}
	}
	if *flags.json {
		return found.writeJSON(c.OutOrStdout())
	}
	return found.writeText(c.OutOrStdout())
}

// zeroStudy is all that is found out about a log.
type zeroStudy struct {
	log         *zeroLog
	grid        *stability.Grid
	points      []stability.Point
	model       *stability.Model
	offset      stability.Offset
	resolution  stability.Resolution
	zero        float64                // standard uncertainty of the mean as the zero at the log's end, A
	temperature *stability.Temperature // nil = no column, or nothing to be told
	noSlope     error                  // why there is no temperature slope though there is a column
}

func study(log *zeroLog, interval float64) (*zeroStudy, error) {
	s := &zeroStudy{log: log, resolution: stability.Resolve(&log.Log)}
	if s.resolution.DistinctCount < 2 {
		return nil, errors.New("every reading is the same, so there is no noise to look at: record with a finer resolution")
	}
	var err error
	if s.grid, err = stability.Arrange(&log.Log, interval); err != nil {
		return nil, err
	}
	s.points = stability.Overlapping(s.grid, stability.Octaves(s.grid))
	if s.model, err = stability.FitNoise(s.grid, s.points); err != nil {
		return nil, err
	}
	s.offset = stability.Integrate(&log.Log, s.grid)
	s.zero = s.offset.StandardUncertainty(s.model, s.resolution)
	if len(log.Celsius) > 0 {
		s.temperature, s.noSlope = stability.FitTemperature(s.grid)
	}
	return s, nil
}
