package query

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/structpb"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// startWithin is how long an estimator may take to start and to answer first.
const startWithin = time.Minute

func shadowCommand() *cobra.Command {
	return cli.Group(&cobra.Command{Use: "shadow", Short: "Run estimators beside the one in force, on the same summaries, without effect"},
		shadowAddCommand(), shadowRemoveCommand())
}

func shadowAddCommand() *cobra.Command {
	var settings string
	c := &cobra.Command{
		Use: "add CONDUCTOR NAME PLUGIN", Short: "Start an estimator in the shadow", Args: cli.Arguments(3),
		Long: "add starts an estimator beside the one in force and gives it a name. It gets the same summaries, the retained ones first, and changes\n" +
			"nothing. See how it does with `estimator compare`; put it in force with `estimator swap CONDUCTOR --shadow NAME`.",
	}
	c.Flags().StringVar(&settings, "with", "{}", "its settings, as a JSON object")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		fields, err := parseSettings(settings)
		if err != nil {
			return err
		}
		request := &ampledgerv1.AddShadowRequest{Conductor: args[0], Name: args[1], Plugin: args[2], Settings: fields}
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			ctx, cancel := context.WithTimeout(ctx, startWithin)
			defer cancel()
			response, err := daemon.Estimators.AddShadow(ctx, request)
			if err != nil {
				return err
			}
			if *asJSON {
				return show.JSON(c.OutOrStdout(), response)
			}
			_, err = fmt.Fprintf(c.OutOrStdout(), "generation %d runs in the shadow as %s\n", response.GetGeneration(), request.GetName())
			return err
		})
	}
	return c
}

func shadowRemoveCommand() *cobra.Command {
	c := &cobra.Command{Use: "remove CONDUCTOR NAME", Short: "End an estimator in the shadow", Args: cli.Arguments(2)}
	c.RunE = func(c *cobra.Command, args []string) error {
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			ctx, cancel := context.WithTimeout(ctx, startWithin)
			defer cancel()
			_, err := daemon.Estimators.RemoveShadow(ctx, &ampledgerv1.RemoveShadowRequest{Conductor: args[0], Name: args[1]})
			return err
		})
	}
	return c
}

// parseSettings reads a plugin's settings off the command line.
func parseSettings(text string) (fields *structpb.Struct, err error) {
	var object map[string]any
	if err = json.Unmarshal([]byte(text), &object); err == nil {
		fields, err = structpb.NewStruct(object)
	}
	if err != nil {
		return nil, cli.Usagef("--with is no JSON object: %w", err)
	}
	return fields, nil
}

func compareCommand() *cobra.Command {
	var from, to string
	c := &cobra.Command{
		Use: "compare [CONDUCTOR]", Short: "Hold the estimators in the shadow against the one in force", Args: cobra.MaximumNArgs(1),
		Long: "compare tells, over the summaries that are still retained, by how much the offsets of each shadow differ from those in force, and by how\n" +
			"much more net charge would have been counted under them; and what each process takes of the machine.",
	}
	c.Flags().StringVar(&from, "from", "", "only answers from this time on, RFC 3339")
	c.Flags().StringVar(&to, "to", "", "only answers up to this time, RFC 3339")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		request := &ampledgerv1.CompareEstimatorsRequest{}
		if request.FromWallNanos, err = parseTime("--from", from); err != nil {
			return err
		}
		if request.ToWallNanos, err = parseTime("--to", to); err != nil {
			return err
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			return compare(ctx, c, daemon, args, request, *asJSON)
		})
	}
	return c
}

func compare(ctx context.Context, c *cobra.Command, daemon *client.Client, args []string, request *ampledgerv1.CompareEstimatorsRequest, asJSON bool) error {
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
	if asJSON {
		return show.JSON(c.OutOrStdout(), response)
	}
	return writeComparison(c.OutOrStdout(), response)
}

func writeComparison(to io.Writer, response *ampledgerv1.CompareEstimatorsResponse) error {
	if len(response.GetComparisons()) == 0 {
		_, err := fmt.Fprintln(to, "no estimator is in force")
		return err
	}
	table := tabwriter.NewWriter(to, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(table, "estimator\tchannel\tsummaries\toffset, A\tu, A\tdifference, A\tscatter, A\tcharge more, Ah\tu of its charge, Ah\t")
	for _, e := range response.GetComparisons() {
		for _, of := range e.GetChannels() {
			offset := "–\t–\t–\t–" // the fused current has none of its own
			if of.GetOffsetUncertaintyAmperes() > 0 || of.GetOffsetAmperes() != 0 {
				offset = fmt.Sprintf("%+.5f\t%.5f\t%+.5f\t%.5f", of.GetOffsetAmperes(), of.GetOffsetUncertaintyAmperes(),
					of.GetMeanDifferenceAmperes(), of.GetDifferenceScatterAmperes())
			}
			fmt.Fprintf(table, "%s\t%s\t%d\t%s\t%+.6f\t%.6f\t\n", roleOf(e), of.GetChannel(), of.GetSummaryCount(), offset,
				of.GetChargeDifferenceCoulombs()/3600, of.GetChargeUncertaintyCoulombs()/3600)
		}
	}
	if err := table.Flush(); err != nil {
		return err
	}
	for _, e := range response.GetComparisons() {
		fmt.Fprintf(to, "%s: %s, generation %d, process %d: %d summaries answered, %d skipped, %d rests, %d notes; an answer takes %v, at most %v; %v of a processor, %.1f MB\n",
			roleOf(e), e.GetPlugin(), e.GetGeneration(), e.GetProcessId(), e.GetAnsweredCount(), e.GetSkippedCount(), e.GetRestCount(), e.GetNoteCount(),
			time.Duration(e.GetMeanLatencyNanos()).Round(time.Microsecond), time.Duration(e.GetLongestLatencyNanos()).Round(time.Microsecond),
			time.Duration(e.GetProcessorNanos()), float64(e.GetResidentBytes())*1e-6)
		if e.GetFault() != "" {
			fmt.Fprintf(to, "  not working: %s\n", e.GetFault())
		}
	}
	_, err := fmt.Fprintln(to, "difference: its offset less that in force, mean over the summaries; charge more: net charge that would have been counted more, out of the pack.")
	return err
}

func roleOf(e *ampledgerv1.EstimatorComparison) string {
	if e.GetShadow() == "" {
		return "in force"
	}
	return e.GetShadow()
}
