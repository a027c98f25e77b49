package query

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func abuseCommand() *cobra.Command {
	var follow bool
	c := &cobra.Command{
		Use: "abuse [CONDUCTOR]", Short: "List the events the guard saw, or follow them", Args: cobra.MaximumNArgs(1),
		Long: "abuse lists each recorded change of each event: raised, operated, cleared; a number at the end of a line says that it is on disk.\n" +
			"With --follow it goes on with what comes: a change comes once when it is seen and once more when it is on disk.",
	}
	c.Flags().BoolVar(&follow, "follow", false, "go on with what comes")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			name, err := watched(ctx, c, daemon, args)
			if err != nil {
				return err
			}
			if follow {
				return followEvents(ctx, c, daemon, name, *asJSON)
			}
			return listEvents(ctx, c, daemon, name, *asJSON)
		})
	}
	return c
}

// watched gives the conductor named, or none for all, and says what keeps conductors from being healthy: an empty list of events means
// little while a device has failed or nothing can be stored.
func watched(ctx context.Context, c *cobra.Command, daemon *client.Client, args []string) (name string, err error) {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	if len(args) > 0 {
		conductor, err := findConductor(ctx, daemon, args)
		if err != nil {
			return "", err
		}
		fmt.Fprint(c.ErrOrStderr(), faultLines(conductor))
		return conductor.GetName(), nil
	}
	response, err := daemon.Readings.ListConductors(ctx, &ampledgerv1.ListConductorsRequest{})
	for _, conductor := range response.GetConductors() {
		fmt.Fprint(c.ErrOrStderr(), faultLines(conductor))
	}
	return "", err
}

func listEvents(ctx context.Context, c *cobra.Command, daemon *client.Client, conductor string, asJSON bool) error {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	request := &ampledgerv1.ListEventsRequest{Conductor: conductor, PageSize: 1000}
	for {
		page, err := daemon.Abuse.ListEvents(ctx, request)
		if err != nil {
			return err
		}
		for _, event := range page.GetEvents() {
			if err := writeEvent(c, event, asJSON); err != nil {
				return err
			}
		}
		if request.PageToken = page.GetNextPageToken(); request.PageToken == "" {
			return nil
		}
	}
}

func writeEvent(c *cobra.Command, event *ampledgerv1.Event, asJSON bool) error {
	if asJSON {
		return show.JSONLine(c.OutOrStdout(), event)
	}
	_, err := fmt.Fprintln(c.OutOrStdout(), show.Event(event))
	return err
}

func followEvents(ctx context.Context, c *cobra.Command, daemon *client.Client, conductor string, asJSON bool) error {
	from := uint64(0)
	request := &ampledgerv1.StreamEventsRequest{Conductor: conductor, AfterLogSequence: &from}
	err := daemon.FollowEvents(ctx, request, func(item *ampledgerv1.StreamEventsResponse) error {
		if item.GetLostCount() > 0 {
			fmt.Fprintf(c.ErrOrStderr(), "%d change(s) lost: this program was too slow; list them again\n", item.GetLostCount())
		}
		switch {
		case asJSON:
			return show.JSONLine(c.OutOrStdout(), item)
		case item.GetEvent() == nil: // it only says that changes were lost
			return nil
		}
		return writeEvent(c, item.GetEvent(), false)
	})
	if ctx.Err() != nil {
		return nil // interrupted: that is how it ends
	}
	return err
}
