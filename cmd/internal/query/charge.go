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

func chargeCommand() *cobra.Command {
	var from, to string
	c := &cobra.Command{
		Use: "charge [CONDUCTOR]", Short: "State the charge that passed a conductor, with its uncertainty and its gaps", Args: cobra.MaximumNArgs(1),
		Long: "charge states out, in and net charge of each channel since the ledger was opened, up to now.\n" +
			"With --from or --to it adds up the ledger entries that lie wholly in that span.",
	}
	c.Flags().StringVar(&from, "from", "", "only entries from this time on, RFC 3339")
	c.Flags().StringVar(&to, "to", "", "only entries up to this time, RFC 3339")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		request := &ampledgerv1.GetStatementRequest{}
		var err error
		if request.FromWallNanos, err = parseTime("--from", from); err != nil {
			return err
		}
		if request.ToWallNanos, err = parseTime("--to", to); err != nil {
			return err
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			return charge(ctx, c, daemon, args, request, *asJSON)
		})
	}
	return c
}

func charge(ctx context.Context, c *cobra.Command, daemon *client.Client, args []string, request *ampledgerv1.GetStatementRequest, asJSON bool) error {
	conductor, err := findConductor(ctx, daemon, args)
	if err != nil {
		return err
	}
	fmt.Fprint(c.ErrOrStderr(), faultLines(conductor))
	request.Conductor = conductor.GetName()
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	statement, err := daemon.Charge.GetStatement(ctx, request)
	if err != nil {
		return err
	}
	if asJSON {
		return show.JSON(c.OutOrStdout(), statement)
	}
	return show.Statement(c.OutOrStdout(), statement)
}

// parseTime reads a time of the command line; nil = not given.
func parseTime(flag, text string) (*int64, error) {
	if text == "" {
		return nil, nil
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return nil, cli.Usagef("%s %q is no time such as 2026-01-31T12:00:00Z", flag, text)
	}
	nanos := t.UnixNano()
	return &nanos, nil
}
