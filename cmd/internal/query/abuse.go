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

// abuseFlags are the flags of the command.
type abuseFlags struct {
	follow   bool
	open     bool
	waveform string
	plot     string
	json     *bool
}

func abuseCommand() *cobra.Command {
	var flags abuseFlags
	c := &cobra.Command{
		Use: "abuse [CONDUCTOR]", Short: "List the events the guard saw, or follow them", Args: cobra.MaximumNArgs(1),
		Long: "abuse lists each recorded change of each event: raised, operated, cleared; a number at the end of a line says that it is on disk.\n" +
			"With --follow it goes on with what comes: a change comes once when it is seen and once more when it is on disk.\n\n" +
			"With --waveform it writes the readings before and after an event's onset at full rate, as CSV: seconds from the onset, amperes, and\n" +
			"what is wrong with a reading, if anything. An event's name stands before that number. With --plot it draws the readings instead.",
	}
	f := c.Flags()
	f.BoolVar(&flags.follow, "follow", false, "go on with what comes")
	f.BoolVar(&flags.open, "open", false, "only events that nobody has acknowledged yet")
	f.StringVar(&flags.waveform, "waveform", "", "write the readings around this event")
	f.StringVar(&flags.plot, "plot", "", "with --waveform: draw them into this file, .svg or .png")
	flags.json = jsonFlag(c)
	c.AddCommand(acknowledgeCommand())
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := flags.check(args); err != nil {
			return err
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error { return abuse(ctx, c, daemon, args, flags) })
	}
	return c
}

// check refuses flags that mean nothing beside the others.
func (f *abuseFlags) check(args []string) error {
	switch {
	case f.follow && f.open, f.waveform != "" && (f.follow || f.open):
		return cli.Usagef("--follow, --open and --waveform exclude one another")
	case f.plot != "" && *f.json:
		return cli.Usagef("--plot and --json exclude each other")
	case f.plot != "" && f.waveform == "":
		return cli.Usagef("--plot is only for --waveform")
	case f.plot != "" && plotFormat(f.plot) == "":
		return badPlotName(f.plot)
	case f.waveform != "" && len(args) > 0:
		return cli.Usagef("--waveform names an event, which has its conductor: leave %s out", args[0])
	}
	return nil
}

func abuse(ctx context.Context, c *cobra.Command, daemon *client.Client, args []string, flags abuseFlags) error {
	if flags.waveform != "" {
		return showWaveform(ctx, c, daemon, flags)
	}
	name, err := watched(ctx, c, daemon, args)
	if err != nil {
		return err
	}
	if flags.follow {
		return followEvents(ctx, c, daemon, name, *flags.json)
	}
	return listEvents(ctx, c, daemon, &ampledgerv1.ListEventsRequest{Conductor: name, UnacknowledgedOnly: flags.open, PageSize: 1000}, *flags.json)
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

func listEvents(ctx context.Context, c *cobra.Command, daemon *client.Client, request *ampledgerv1.ListEventsRequest, asJSON bool) error {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
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
