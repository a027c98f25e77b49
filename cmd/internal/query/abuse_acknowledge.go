package query

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func acknowledgeCommand() *cobra.Command {
	request := &ampledgerv1.AcknowledgeEventRequest{}
	c := &cobra.Command{
		Use: "acknowledge EVENT", Short: "Say that somebody has seen an event", Args: cli.Arguments(1),
		Long: "acknowledge records that somebody has seen an event, named as `abuse` lists it. It can be said once and not be taken back. The\n" +
			"event stays as it is; when room is short, the readings around acknowledged events are dropped before those of others.",
	}
	c.Flags().StringVar(&request.By, "by", "", "who says so (required)")
	c.Flags().StringVar(&request.Note, "note", "", "what there is to say")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		if request.By == "" {
			return cli.Usagef("--by is required: who has seen the event?")
		}
		request.EventId = args[0]
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			return acknowledge(ctx, c, daemon, request, *asJSON)
		})
	}
	return c
}

func acknowledge(ctx context.Context, c *cobra.Command, daemon *client.Client, request *ampledgerv1.AcknowledgeEventRequest, asJSON bool) error {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	response, err := daemon.Abuse.AcknowledgeEvent(ctx, request)
	if err != nil {
		return err
	}
	if asJSON {
		return show.JSON(c.OutOrStdout(), response)
	}
	a := response.GetAcknowledgement()
	_, err = fmt.Fprintf(c.OutOrStdout(), "event %s was seen by %s at %s\n", request.GetEventId(), a.GetBy(), show.Clock(a.GetWallNanos()))
	return err
}
