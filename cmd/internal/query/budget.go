package query

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/spf13/cobra"
	"go.uber.org/zap"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/shipped"
	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/design"
)

// budgetFlags are the question, as it is asked on the command line.
type budgetFlags struct {
	question                   design.Question
	restEvery, rest, markEvery time.Duration
}

// add gives a command the flags; it has to be checked with ask.
func (f *budgetFlags) add(c *cobra.Command) {
	q := design.DefaultQuestion()
	seconds := func(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
	flags := c.Flags()
	flags.Float64SliceVar(&f.question.Amperes, "current", nil,
		"currents to look at, A; default: a tenth of the smallest rated current of what is compared, all of it, and the largest")
	flags.Float64SliceVar(&f.question.Celsius, "temperature", q.Celsius, "temperatures about the sensors, °C")
	flags.Float64Var(&f.question.Years, "years", q.Years, "time since the gain was last made sure, years")
	flags.Float64Var(&f.question.RateHertz, "rate", q.RateHertz, "readings a second where the driver states no rate")
	flags.DurationVar(&f.restEvery, "rest-every", seconds(q.RestEverySeconds), "time from rest to rest, for the charge with rests")
	flags.DurationVar(&f.rest, "rest", seconds(q.RestSeconds), "length of a rest")
	flags.DurationVar(&f.markEvery, "mark-every", seconds(q.MarkEverySeconds), "time from mark to mark, for the charge with marks")
	flags.Float64Var(&f.question.MarkRatio, "mark-uncertainty", q.MarkRatio, "standard uncertainty of a mark, as a ratio of the capacity")
	flags.Float64Var(&f.question.WorkingVolts, "working-voltage", 0,
		"highest voltage between the conductor and what may be touched, V d.c.; default: the conductor's working_volts")
	f.question.Probability = q.Probability
}

// ask gives the question.
func (f *budgetFlags) ask() (design.Question, error) {
	q := f.question
	q.RestEverySeconds, q.RestSeconds, q.MarkEverySeconds = f.restEvery.Seconds(), f.rest.Seconds(), f.markEvery.Seconds()
	if err := q.Check(); err != nil {
		return q, cli.Usagef("%w", err)
	}
	return q, nil
}

func budgetCommand() *cobra.Command {
	flags, picture := budgetFlags{}, ""
	c := &cobra.Command{
		Use: "budget CONFIG", Short: "Say how sure each channel of a configuration can be, and of what that is made", Args: cli.Arguments(1),
		Long: "budget reads a configuration and gives for each channel, at currents and temperatures, the table of what makes a reading uncertain (JCGM\n" +
			"100:2008: value, distribution, divisor, sensitivity, contribution, degrees of freedom, share), what that is to the charge of an hour, a day and 30 days,\n" +
			"with and without rests and marks, the range, what a shunt costs, what moves a magnetic sensor's zero, and what must be isolated. Several channels of\n" +
			"one conductor are compared. It needs no daemon and no hardware: a driver that does not start is passed over, and the configuration must say what\n" +
			"it would. Lines marked * are what the daemon itself states of a reading; the others come from data_sheet and what else the configuration tells.",
	}
	flags.add(c)
	c.Flags().StringVar(&picture, "plot", "", "draw the uncertainty of each channel over the current into this file, .svg or .png")
	asJSON := c.Flags().Bool("json", false, "write JSON; the unit is in each name")
	c.RunE = func(c *cobra.Command, args []string) error {
		if picture != "" && plotFormat(picture) == "" {
			return cli.Usagef("--plot %s: the name must end in .svg or .png", picture)
		}
		study, err := examine(c, args[0], flags)
		if err != nil {
			return err
		}
		if picture != "" {
			if err := drawBudget(c, picture, study); err != nil {
				return err
			}
		}
		if *asJSON {
			return writeJSON(c.OutOrStdout(), study)
		}
		return budgetText{study}.write(c.OutOrStdout())
	}
	return c
}

// writeJSON writes figures for programs.
func writeJSON(to io.Writer, figures any) error {
	encoder := json.NewEncoder(to)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(figures)
}

// examine studies the channels of a configuration. What drivers do not say, and channels that have no sensor for it, is told on standard error.
func examine(c *cobra.Command, name string, flags budgetFlags) (*design.Study, error) {
	q, err := flags.ask()
	if err != nil {
		return nil, err
	}
	read, err := cli.LoadConfig(name)
	if err != nil {
		return nil, err
	}
	candidates, err := candidates(c, read)
	if err != nil {
		return nil, err
	}
	return design.Examine(candidates, q)
}

func candidates(c *cobra.Command, read *config.Config) (all []design.Candidate, err error) {
	options, err := shipped.Options(zap.NewNop())
	if err != nil {
		return nil, err
	}
	described := daemon.Describe(c.Context(), read, options)
	if err := c.Context().Err(); err != nil {
		return nil, err
	}
	for _, d := range described {
		if d.Err != nil {
			fmt.Fprintf(c.ErrOrStderr(), "device %s says nothing of its inputs, they are taken as configured: %s\n", d.Device, d.Err)
		}
	}
	var faults []error
	for _, s := range daemon.Sensors(read, described) {
		if s.Err != nil {
			fault := fmt.Errorf("conductor %s, channel %s: %w", s.Conductor.Name, s.Channel.Name, s.Err)
			fmt.Fprintf(c.ErrOrStderr(), "left out: %s\n", fault)
			faults = append(faults, fault)
			continue
		}
		all = append(all, design.Candidate{Conductor: s.Conductor, Channel: s.Channel, Sensor: s.Sensor, RateHertz: s.RateHertz, Assumed: s.Assumed})
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("no channel has a sensor to examine: %w", errors.Join(faults...))
	}
	return all, nil
}

// percent writes a ratio.
func percent(ratio float64) string { return fmt.Sprintf("%.3g %%", 100*ratio) }

// measure writes a figure with its unit, or that it is not known.
func measure(v *float64, unit string) string {
	if v == nil || math.IsNaN(*v) {
		return "not stated"
	}
	return fmt.Sprintf("%.4g %s", *v, unit)
}
