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

// chargeFlags are the flags of the command.
type chargeFlags struct {
	from, to string
	entries  bool
	channel  string
	kinds    []string
	verify   bool
	head     string
	json     *bool
}

func chargeCommand() *cobra.Command {
	var flags chargeFlags
	c := &cobra.Command{
		Use: "charge [CONDUCTOR]", Short: "State the charge that passed a conductor, with its uncertainty and its gaps", Args: cobra.MaximumNArgs(1),
		Long: "charge states out, in and net charge of each channel since the ledger was opened, up to now.\n" +
			"With --from or --to it adds up the ledger entries that lie wholly in that span.\n" +
			"The last line is the end of the ledger's chain: write it down elsewhere, and it can be seen later whether the ledger is still the same.\n\n" +
			"With --entries it lists those entries, one a line; without a CONDUCTOR, all conductors'.\n\n" +
			"With --verify it asks no daemon but reads the ledger's file, named in place of the conductor or in the state folder named there\n" +
			"(default \"state\"), whether a daemon works on it or not: every row that was changed, removed, put in or moved is a line. It writes\n" +
			"nothing. With --head it also holds the chain against one that was written down.",
	}
	f := c.Flags()
	f.StringVar(&flags.from, "from", "", "only entries from this time on, RFC 3339")
	f.StringVar(&flags.to, "to", "", "only entries up to this time, RFC 3339")
	f.BoolVar(&flags.entries, "entries", false, "list the ledger's entries")
	f.StringVar(&flags.channel, "channel", "", "with --entries: only those of this channel")
	f.StringSliceVar(&flags.kinds, "kind", nil, "with --entries: only those of these kinds: "+kindNames())
	f.BoolVar(&flags.verify, "verify", false, "verify the ledger's file")
	f.StringVar(&flags.head, "head", "", "with --verify: what a statement gave as the end of the chain, SEQUENCE:SHA256")
	flags.json = jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := flags.check(c); err != nil {
			return err
		}
		if flags.verify {
			return verifyLedger(c.Context(), c, args, flags)
		}
		from, to, err := flags.span()
		if err != nil {
			return err
		}
		if flags.entries {
			request := &ampledgerv1.ListEntriesRequest{Channel: flags.channel, FromWallNanos: from, ToWallNanos: to, PageSize: 1000}
			return entries(c, args, request, flags)
		}
		request := &ampledgerv1.GetStatementRequest{FromWallNanos: from, ToWallNanos: to}
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			return charge(ctx, c, daemon, args, request, *flags.json)
		})
	}
	return c
}

// check refuses flags that mean nothing beside the others.
func (f *chargeFlags) check(c *cobra.Command) error {
	if f.entries && f.verify {
		return cli.Usagef("--entries asks a daemon, --verify reads a file: give one of them")
	}
	for _, each := range []struct {
		flag, only string
		meant      bool
	}{
		{"channel", "--entries", f.entries}, {"kind", "--entries", f.entries}, {"head", "--verify", f.verify},
		{"from", "a daemon's statement or --entries", !f.verify}, {"to", "a daemon's statement or --entries", !f.verify},
	} {
		if c.Flags().Changed(each.flag) && !each.meant {
			return cli.Usagef("--%s is only for %s", each.flag, each.only)
		}
	}
	return nil
}

func (f *chargeFlags) span() (from, to *int64, err error) {
	if from, err = parseTime("--from", f.from); err != nil {
		return nil, nil, err
	}
	to, err = parseTime("--to", f.to)
	return from, to, err
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
	if err := show.Statement(c.OutOrStdout(), statement); err != nil {
		return err
	}
	head := statement.GetChainHead()
	_, err = fmt.Fprintf(c.OutOrStdout(), "ledger's chain: %d:%x\n", head.GetEntrySequence(), head.GetChainSha256())
	return err
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
