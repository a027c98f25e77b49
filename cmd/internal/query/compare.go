package query

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

type compareFlags struct {
	from, to, plot, channel string
	json                    *bool
}

func compareCommand() *cobra.Command {
	var flags compareFlags
	c := &cobra.Command{
		Use: "compare [CONDUCTOR]", Short: "Hold the estimators in the shadow against the one in force", Args: cobra.MaximumNArgs(1),
		Long: "compare tells by how much the offsets of each shadow differ from those in force, by how much more net charge would have been counted\n" +
			"under them, how far the readings of rests were off what each had known before, what each derives, and what each process takes of the\n" +
			"machine: over all summaries that are retained in memory (about an hour), or with a --from before that over the recorded ones (one a\n" +
			"minute, for weeks, over restarts of the daemon). --plot draws the offsets and the charge.",
	}
	c.Flags().StringVar(&flags.from, "from", "", "only answers from this time on, RFC 3339")
	c.Flags().StringVar(&flags.to, "to", "", "only answers up to this time, RFC 3339")
	c.Flags().StringVar(&flags.plot, "plot", "", "draw one channel from what is recorded into this file, .svg or .png")
	c.Flags().StringVar(&flags.channel, "channel", "", "with --plot: the channel; without it, the first that is compared")
	flags.json = jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		request := &ampledgerv1.CompareEstimatorsRequest{}
		if request.FromWallNanos, err = parseTime("--from", flags.from); err != nil {
			return err
		}
		if request.ToWallNanos, err = parseTime("--to", flags.to); err != nil {
			return err
		}
		if flags.plot != "" && plotFormat(flags.plot) == "" {
			return badPlotName(flags.plot)
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			return compare(ctx, c, daemon, args, request, flags)
		})
	}
	return c
}

func compare(ctx context.Context, c *cobra.Command, daemon *client.Client, args []string, request *ampledgerv1.CompareEstimatorsRequest, flags compareFlags) error {
	conductor, err := findConductor(ctx, daemon, args)
	if err != nil {
		return err
	}
	request.Conductor = conductor.GetName()
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	response, err := daemon.Estimators.CompareEstimators(ctx, request)
	if err != nil {
		return err
	}
	if flags.plot != "" {
		if err := drawComparison(ctx, c, daemon, request, flags); err != nil {
			return err
		}
	}
	if *flags.json {
		return show.JSON(c.OutOrStdout(), response)
	}
	return writeComparison(c.OutOrStdout(), response)
}

func writeComparison(to io.Writer, response *ampledgerv1.CompareEstimatorsResponse) error {
	if len(response.GetComparisons()) == 0 {
		_, err := fmt.Fprintln(to, "no estimator runs")
		return err
	}
	if err := writeChannels(to, response); err != nil {
		return err
	}
	for _, e := range response.GetComparisons() {
		writeEstimatorComparison(to, e)
	}
	_, err := fmt.Fprintln(to, "difference: its offset less that in force, mean over the summaries; charge more: net charge that would have been counted more, out of the pack;\n"+
		"rest off: how far the mean readings of rests were off the offset known before, root mean square; of u²: the mean square of that over its\n"+
		"uncertainty, 1 if the estimator is as good as it says.")
	return err
}

func writeChannels(to io.Writer, response *ampledgerv1.CompareEstimatorsResponse) error {
	table := tabwriter.NewWriter(to, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(table, "estimator\tchannel\tsummaries\toffset, A\tu, A\tdifference, A\tscatter, A\tcharge more, Ah\tu of its charge, Ah\trests\trest off, A\tof u²\t")
	for _, e := range response.GetComparisons() {
		for _, of := range e.GetChannels() {
			offset := "–\t–\t–\t–" // the fused current has none of its own
			if of.GetOffsetUncertaintyAmperes() > 0 || of.GetOffsetAmperes() != 0 {
				offset = fmt.Sprintf("%+.5f\t%.5f\t%+.5f\t%.5f", of.GetOffsetAmperes(), of.GetOffsetUncertaintyAmperes(),
					of.GetMeanDifferenceAmperes(), of.GetDifferenceScatterAmperes())
			}
			innovations := "–\t–"
			if of.GetInnovationCount() > 0 {
				innovations = fmt.Sprintf("%.5f\t%.2f", of.GetInnovationRmsAmperes(), of.GetInnovationNormalisedSquareRatio())
			}
			fmt.Fprintf(table, "%s\t%s\t%d\t%s\t%+.6f\t%.6f\t%d\t%s\t\n", roleOf(e), of.GetChannel(), of.GetSummaryCount(), offset,
				of.GetChargeDifferenceCoulombs()/3600, of.GetChargeUncertaintyCoulombs()/3600, of.GetInnovationCount(), innovations)
		}
	}
	return table.Flush()
}

func writeEstimatorComparison(to io.Writer, e *ampledgerv1.EstimatorComparison) {
	fmt.Fprintf(to, "%s: %s, generation %d, process %d: %d summaries answered, %d skipped, %d rests, %d notes; an answer takes %v, at most %v; %v of a processor, %.1f MB\n",
		roleOf(e), e.GetPlugin(), e.GetGeneration(), e.GetProcessId(), e.GetAnsweredCount(), e.GetSkippedCount(), e.GetRestCount(), e.GetNoteCount(),
		time.Duration(e.GetMeanLatencyNanos()).Round(time.Microsecond), time.Duration(e.GetLongestLatencyNanos()).Round(time.Microsecond),
		time.Duration(e.GetProcessorNanos()), float64(e.GetResidentBytes())*1e-6)
	for _, o := range e.GetOutputs() {
		text := show.Derived(o.GetNewest())
		if o.GetSummaryCount() > 0 && e.GetShadow() != "" {
			text += fmt.Sprintf("; %+.6g off that in force, mean over %d summaries", o.GetMeanDifferenceValue(), o.GetSummaryCount())
		}
		fmt.Fprintf(to, "  %s\n", text)
	}
	if e.GetFault() != "" {
		fmt.Fprintf(to, "  not working: %s\n", e.GetFault())
	}
}

func roleOf(e *ampledgerv1.EstimatorComparison) string {
	if e.GetShadow() == "" {
		return "in force"
	}
	return e.GetShadow()
}
