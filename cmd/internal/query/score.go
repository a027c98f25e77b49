package query

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"go.uber.org/zap"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/shipped"
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/score"
)

type scoreFlags struct {
	truth, positive, conductor string
	seeds                      int
	plot                       string
	json                       *bool
}

func scoreCommand() *cobra.Command {
	flags := scoreFlags{}
	c := &cobra.Command{
		Use: "score CONFIG", Short: "Hold the charge against a known truth: how far off, and is the stated uncertainty right?", Args: cli.Arguments(1),
		Long: "score runs the configuration's devices to their end, offline and in lockstep as process does, and compares each channel's balance\n" +
			"with a true current that is read beside it: with the conductor's own estimator, with the zero of the first rest held (fixedzero) and\n" +
			"uncompensated. Give the devices `speed: 0`; a simulated one with `truth: true` tells the true offsets as well.\n\n" +
			"With --seeds it runs that many simulations, each with the next seed, on all processors and in its own process, and tells in how\n" +
			"many of them the 95 % interval held the truth at the end. A seed draws noise, walks, faults that come at random, and the sensors: their\n" +
			"offsets, drifts, gain errors and hysteresis are normally distributed about 0, what the configuration states being the standard\n" +
			"deviation; else it would tell of one sensor, not of what is believed of such sensors beforehand. An `oracle` then stands beside\n" +
			"biasfilter: the same filter with settings that follow from the simulation. The same seeds give the same output whatever the number\n" +
			"of processors.",
	}
	f := c.Flags()
	f.StringVar(&flags.truth, "truth", "", "what really flowed: DEVICE/INPUT in amperes, or CONDUCTOR/CHANNEL (required)")
	f.StringVar(&flags.positive, "truth-positive", "discharge", "direction of the truth input's positive sign, discharge or charge")
	f.StringVar(&flags.conductor, "conductor", "", "conductor to be scored; default: the truth's if it has other channels, else the only other one")
	f.IntVar(&flags.seeds, "seeds", 0, "run so many seeds of the simulation; 0 = run the configuration once")
	f.StringVar(&flags.plot, "plot", "", "draw offset and charge error of the single run into this file, .svg or .png")
	flags.json = f.Bool("json", false, "write JSON; the unit is in each name")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := flags.check(); err != nil {
			return err
		}
		read, err := cli.LoadConfig(args[0])
		if err != nil {
			return err
		}
		return scoreConfig(c, read, flags)
	}
	return c
}

// check refuses flags that no configuration could go with.
func (f *scoreFlags) check() error {
	switch {
	case f.truth == "":
		return cli.Usagef("--truth is missing: name what really flowed, DEVICE/INPUT in amperes or CONDUCTOR/CHANNEL")
	case f.positive != "discharge" && f.positive != "charge":
		return cli.Usagef("--truth-positive %s is neither discharge nor charge", f.positive)
	case f.seeds < 0 || f.seeds > score.MostSeeds:
		return cli.Usagef("--seeds %d must be from 1 to %d", f.seeds, score.MostSeeds)
	case f.plot != "" && f.seeds > 0:
		return cli.Usagef("--plot draws a single run; leave --seeds out")
	case f.plot != "" && plotFormat(f.plot) == "":
		return badPlotName(f.plot)
	}
	return nil
}

func scoreConfig(c *cobra.Command, read *config.Config, flags scoreFlags) error {
	plan, err := score.New(score.Settings{Config: read, Truth: flags.truth, TruthPositive: flags.positive, Conductor: flags.conductor})
	switch {
	case errors.Is(err, score.ErrSeveral):
		return cli.Usagef("%w with --conductor", err)
	case err != nil:
		return cli.Usagef("%w", err)
	case flags.seeds > 0:
		return scoreSeeds(c, plan, flags)
	}
	return scoreOnce(c, plan, flags)
}

// scoreOnce runs the configuration as it stands.
func scoreOnce(c *cobra.Command, plan *score.Plan, flags scoreFlags) error {
	options, err := shipped.Options(zap.NewNop())
	if err != nil {
		return err
	}
	update, done := scoreProgress(c)
	run, err := plan.Run(c.Context(), options, func(readings uint64) {
		update(func() string { return fmt.Sprintf("%d readings", readings) })
	})
	done()
	if err != nil {
		return err
	}
	if flags.plot != "" {
		if err := drawScore(c, flags.plot, run, plan.ChargeFrom()); err != nil {
			return err
		}
	}
	if *flags.json {
		return writeScoreJSON(c.OutOrStdout(), newRunJSON(run))
	}
	return writeRun(c.OutOrStdout(), run)
}

func scoreSeeds(c *cobra.Command, plan *score.Plan, flags scoreFlags) error {
	seeded, err := plan.Seeded(c.Context())
	if err != nil {
		return cli.Usagef("%w", err)
	}
	update, done := scoreProgress(c)
	study, err := seeded.Study(c.Context(), flags.seeds, func(done int) {
		update(func() string { return bar(done, flags.seeds) })
	})
	done()
	if err != nil {
		return err
	}
	if *flags.json {
		return writeScoreJSON(c.OutOrStdout(), newStudyJSON(study))
	}
	return writeStudy(c.OutOrStdout(), study)
}

// scoreProgress tells of progress from the first of it on, so that how long plugins take to start does not count.
func scoreProgress(c *cobra.Command) (update func(func() string), done func()) {
	var progress *cli.Progress
	update = func(text func() string) {
		if progress == nil {
			progress = cli.NewProgress(c.ErrOrStderr())
		}
		progress.Update(text)
	}
	done = func() {
		if progress != nil {
			progress.Done()
		}
	}
	return update, done
}

// bar draws how far a count has come.
func bar(done, of int) string {
	const width = 30
	full := done * width / of
	return fmt.Sprintf("[%s%s] %d of %d seeds", strings.Repeat("#", full), strings.Repeat("·", width-full), done, of)
}
