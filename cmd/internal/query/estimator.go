package query

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func estimatorCommand() *cobra.Command {
	return cli.Group(&cobra.Command{Use: "estimator", Short: "Look at the estimators in force and in the shadow, or put another in force"},
		estimatorListCommand(), estimatorSwapCommand(), estimatorRevertCommand(), shadowCommand(), compareCommand(), traceCommand())
}

func estimatorListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List the estimators with their newest offsets and what they derive", Args: cli.Arguments(0)}
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			ctx, cancel := context.WithTimeout(ctx, answerWithin)
			defer cancel()
			response, err := daemon.Estimators.ListEstimators(ctx, &ampledgerv1.ListEstimatorsRequest{})
			if err != nil {
				return err
			}
			if *asJSON {
				return show.JSON(c.OutOrStdout(), response)
			}
			for _, e := range response.GetEstimators() {
				writeEstimator(c.OutOrStdout(), e)
			}
			return nil
		})
	}
	return c
}

func writeEstimator(to io.Writer, e *ampledgerv1.Estimator) {
	role := ""
	if e.GetShadow() != "" {
		role = ", in the shadow as " + e.GetShadow()
	}
	fmt.Fprintf(to, "%s: %s, generation %d, process %d%s: %s\n", e.GetConductor(), e.GetPlugin(), e.GetGeneration(), e.GetProcessId(), role, e.GetMethod())
	if !e.GetAlive() && role == "" {
		fmt.Fprintf(to, "  not working, its last offsets are held: %s\n", e.GetFault())
	} else if !e.GetAlive() {
		fmt.Fprintf(to, "  not working: %s\n", e.GetFault())
	}
	for _, each := range e.GetEstimates() {
		fmt.Fprintf(to, "  %-16s %+.5f A ± %.5f A as of sequence %d\n", each.GetChannel(), each.GetOffsetAmperes(),
			each.GetStandardUncertaintyAmperes(), each.GetThroughSequence())
	}
	for _, v := range e.GetOutputs() {
		fmt.Fprintf(to, "  %s\n", show.Derived(v))
	}
}

func estimatorSwapCommand() *cobra.Command {
	var chosen chosenEstimator
	var shadow string
	var after time.Duration
	request := &ampledgerv1.SwapEstimatorRequest{}
	c := &cobra.Command{
		Use: "swap CONDUCTOR [PLUGIN]", Short: "Put another estimator in force between two frames", Args: cobra.RangeArgs(1, 2),
		Long: "swap starts the estimator beside the one in force, warms it up and lets it take over between two frames; no reading is lost\n" +
			"or repeated. With --after it runs in the shadow for that time first, and takes over only if it then agrees within --most-deviations; the\n" +
			"command waits, and interrupted it gives up. With --shadow it is an estimator that runs in the shadow already. With --executable it is a\n" +
			"file of yours, which lies in the folder that the daemon's configuration names under candidates. If anything fails, the old one stays in\n" +
			"force and the command ends with status 1.",
	}
	chosen.flags(c)
	c.Flags().StringVar(&shadow, "shadow", "", "put this shadow in force, instead of a PLUGIN")
	c.Flags().DurationVar(&after, "after", 0, "how long it runs in the shadow first")
	c.Flags().Float64Var(&request.MostDeviationsRatio, "most-deviations", 0,
		"with --after: by so many times their uncertainties together its offset may be off that in force on each channel; 0 = by any")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if after < 0 || request.MostDeviationsRatio < 0 || request.MostDeviationsRatio > 0 && after == 0 {
			return cli.Usagef("--after must not be below 0, and --most-deviations goes with it")
		}
		request.Conductor, request.Shadow, request.ShadowNanos = args[0], shadow, after.Nanoseconds()
		if err := chosen.read(args[1:], shadow != "", "a PLUGIN, --executable FILE or --shadow NAME"); err != nil {
			return err
		}
		request.Plugin, request.Executable, request.Sha256, request.Settings = chosen.plugin, chosen.name, chosen.sum, chosen.settings
		return connected(c, func(ctx context.Context, daemon *client.Client) error { return swap(ctx, c, daemon, request, *asJSON) })
	}
	return c
}

func estimatorRevertCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "revert CONDUCTOR", Short: "Put the estimator that was in force before in force again", Args: cli.Arguments(1),
		Long: "revert swaps back to the estimator that was in force before, with what it knew when it was taken out and what it has missed since.",
	}
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		request := &ampledgerv1.SwapEstimatorRequest{Conductor: args[0], Revert: true}
		return connected(c, func(ctx context.Context, daemon *client.Client) error { return swap(ctx, c, daemon, request, *asJSON) })
	}
	return c
}

func swap(ctx context.Context, c *cobra.Command, daemon *client.Client, request *ampledgerv1.SwapEstimatorRequest, asJSON bool) error {
	stream, err := daemon.Estimators.SwapEstimator(ctx, request)
	if err != nil {
		return err
	}
	for {
		step, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if asJSON {
			err = show.JSONLine(c.OutOrStdout(), step)
		} else {
			_, err = fmt.Fprintln(c.OutOrStdout(), stepText(step))
		}
		if err != nil {
			return err
		}
		if step.GetStep() == ampledgerv1.SwapStep_SWAP_STEP_FAILED {
			return errors.New("not swapped; the old estimator is still in force: " + step.GetReason())
		}
	}
}

func stepText(step *ampledgerv1.SwapEstimatorResponse) string {
	text := fmt.Sprintf("generation %d: %s", step.GetGeneration(), strings.ToLower(strings.TrimPrefix(step.GetStep().String(), "SWAP_STEP_")))
	if step.GetStep() == ampledgerv1.SwapStep_SWAP_STEP_WARMING && step.GetWarmedRatio() > 0 {
		text += fmt.Sprintf(", %.0f %%", 100*step.GetWarmedRatio())
	}
	for device, sequence := range step.GetAtSequence() {
		text += fmt.Sprintf(", in force from sequence %d of device %s on", sequence, device)
	}
	return text
}
