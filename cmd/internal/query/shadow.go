package query

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// startWithin is how long an estimator may take to start and to answer what is retained.
const startWithin = 6 * time.Minute

func shadowCommand() *cobra.Command {
	return cli.Group(&cobra.Command{Use: "shadow", Short: "Run estimators beside the one in force, on the same summaries, without effect"},
		shadowAddCommand(), shadowRemoveCommand())
}

func shadowAddCommand() *cobra.Command {
	var chosen chosenEstimator
	c := &cobra.Command{
		Use: "add CONDUCTOR NAME [PLUGIN]", Short: "Start an estimator in the shadow", Args: cobra.RangeArgs(2, 3),
		Long: "add starts an estimator beside the one in force and gives it a name. It gets the same summaries, the retained ones first, and changes\n" +
			"nothing. See how it does with `estimator compare`; put it in force with `estimator swap CONDUCTOR --shadow NAME`. It ends with the\n" +
			"daemon: one that is to come back with it is written into the configuration, under shadows.",
	}
	chosen.flags(c)
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := chosen.read(args[2:], false, "a PLUGIN or --executable FILE"); err != nil {
			return err
		}
		request := &ampledgerv1.AddShadowRequest{
			Conductor: args[0], Name: args[1], Plugin: chosen.plugin, Executable: chosen.name, Sha256: chosen.sum, Settings: chosen.settings,
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			return addShadow(ctx, c, daemon, request, *asJSON)
		})
	}
	return c
}

func addShadow(ctx context.Context, c *cobra.Command, daemon *client.Client, request *ampledgerv1.AddShadowRequest, asJSON bool) error {
	ctx, cancel := context.WithTimeout(ctx, startWithin)
	defer cancel()
	response, err := daemon.Estimators.AddShadow(ctx, request)
	if err != nil {
		return err
	}
	if asJSON {
		return show.JSON(c.OutOrStdout(), response)
	}
	_, err = fmt.Fprintf(c.OutOrStdout(), "generation %d runs in the shadow as %s\n", response.GetGeneration(), request.GetName())
	return err
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
