package query

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/structpb"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func estimatorCommand() *cobra.Command {
	return cli.Group(&cobra.Command{Use: "estimator", Short: "Look at the offset estimators in force, or put another in force"},
		estimatorListCommand(), estimatorSwapCommand())
}

func estimatorListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List the estimators in force with their newest offsets", Args: cli.Arguments(0)}
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
	fmt.Fprintf(to, "%s: %s, generation %d, process %d: %s\n", e.GetConductor(), e.GetPlugin(), e.GetGeneration(), e.GetProcessId(), e.GetMethod())
	if !e.GetAlive() {
		fmt.Fprintf(to, "  not working, its last offsets are held: %s\n", e.GetFault())
	}
	for _, each := range e.GetEstimates() {
		fmt.Fprintf(to, "  %-16s %+.5f A ± %.5f A as of sequence %d\n", each.GetChannel(), each.GetOffsetAmperes(),
			each.GetStandardUncertaintyAmperes(), each.GetThroughSequence())
	}
}

func estimatorSwapCommand() *cobra.Command {
	var settings string
	c := &cobra.Command{
		Use: "swap CONDUCTOR PLUGIN", Short: "Put another estimator in force between two frames", Args: cli.Arguments(2),
		Long: "swap starts the estimator beside the one in force, warms it up and lets it take over between two frames; no reading is lost\n" +
			"or repeated. If anything fails, the old one stays in force and the command ends with status 1.",
	}
	c.Flags().StringVar(&settings, "with", "{}", "its settings, as a JSON object")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		request := &ampledgerv1.SwapEstimatorRequest{Conductor: args[0], Plugin: args[1]}
		var fields map[string]any
		err := json.Unmarshal([]byte(settings), &fields)
		if err == nil {
			request.Settings, err = structpb.NewStruct(fields)
		}
		if err != nil {
			return cli.Usagef("--with is no JSON object: %w", err)
		}
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
	for device, sequence := range step.GetAtSequence() {
		text += fmt.Sprintf(", in force from sequence %d of device %s on", sequence, device)
	}
	return text
}
