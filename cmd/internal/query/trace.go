package query

import (
	"context"
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

func traceCommand() *cobra.Command {
	var from, to string
	c := &cobra.Command{
		Use: "trace [CONDUCTOR]", Short: "Follow what the estimators say, or list what they said", Args: cobra.MaximumNArgs(1),
		Long: "trace writes a line for each answer of each estimator, in force and in the shadow: offsets, what net charge would have been more under it\n" +
			"and what it derives, each with its standard uncertainty. With --from it begins with what is recorded since then, one summary a minute;\n" +
			"with --to it ends there.",
	}
	c.Flags().StringVar(&from, "from", "", "first what is recorded from this time on, RFC 3339")
	c.Flags().StringVar(&to, "to", "", "end with what is recorded up to this time, RFC 3339")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		request := &ampledgerv1.StreamEstimatesRequest{}
		if request.FromWallNanos, err = parseTime("--from", from); err != nil {
			return err
		}
		if request.ToWallNanos, err = parseTime("--to", to); err != nil {
			return err
		}
		if to != "" && from == "" {
			return cli.Usagef("--to goes with --from")
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			conductor, err := findConductor(ctx, daemon, args)
			if err != nil {
				return err
			}
			request.Conductor = conductor.GetName()
			return daemon.FollowEstimates(ctx, request, func(item *ampledgerv1.StreamEstimatesResponse) error {
				if *asJSON {
					return show.JSONLine(c.OutOrStdout(), item)
				}
				return writeRecord(c.OutOrStdout(), item)
			})
		})
	}
	return c
}

func writeRecord(to io.Writer, item *ampledgerv1.StreamEstimatesResponse) error {
	if lost := item.GetLostCount(); lost > 0 {
		_, err := fmt.Fprintf(to, "%d records are missing here: they came faster than they were read\n", lost)
		return err
	}
	r := item.GetRecord()
	who := r.GetPlugin()
	if r.GetShadow() != "" {
		who += " as " + r.GetShadow()
	}
	var parts []string
	for _, of := range r.GetChannels() {
		part := of.GetChannel()
		if of.GetOffsetKnown() {
			part += fmt.Sprintf(" %+.5f ± %.5f A", of.GetOffsetAmperes(), of.GetStandardUncertaintyAmperes())
		}
		parts = append(parts, part+fmt.Sprintf(", charge %+.6f ± %.6f Ah", of.GetChargeChangeCoulombs()/coulombsPerAmpereHour,
			of.GetChargeUncertaintyCoulombs()/coulombsPerAmpereHour))
	}
	for _, v := range r.GetOutputs() {
		parts = append(parts, show.Derived(v))
	}
	_, err := fmt.Fprintf(to, "%s %s: %s\n", time.Unix(0, r.GetWallNanos()).UTC().Format("2006-01-02T15:04:05.000Z"), who, strings.Join(parts, "; "))
	return err
}
