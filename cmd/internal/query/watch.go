package query

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

type watchFlags struct {
	rate     float64
	channels []string
	oldest   bool
	json     *bool
}

func watchCommand() *cobra.Command {
	var flags watchFlags
	c := &cobra.Command{
		Use: "watch [CONDUCTOR]", Short: "Follow a conductor's readings, its channels side by side", Args: cobra.MaximumNArgs(1),
		Long: "watch follows the readings of a conductor until it is interrupted or the conductor's devices have come to their end.\n" +
			"Each line covers a stretch of device time: mean with its standard uncertainty, least and greatest reading.\n" +
			"With --json and --rate 0 every reading is written, a frame a line.",
	}
	c.Flags().Float64Var(&flags.rate, "rate", 2, "lines for each second of device time; 0 = every reading, only with --json")
	c.Flags().StringSliceVar(&flags.channels, "channel", nil, "only these channels")
	c.Flags().BoolVar(&flags.oldest, "from-oldest", false, "begin with the oldest reading the daemon still holds")
	flags.json = jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		if flags.rate < 0 || flags.rate == 0 && !*flags.json {
			return cli.Usagef("--rate must be above 0 (0 only with --json)")
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error { return watch(ctx, c, daemon, args, flags) })
	}
	return c
}

func watch(ctx context.Context, c *cobra.Command, daemon *client.Client, args []string, flags watchFlags) error {
	conductor, err := findConductor(ctx, daemon, args)
	if err != nil {
		return err
	}
	channels, err := channelNames(conductor, flags.channels)
	if err != nil {
		return err
	}
	fmt.Fprint(c.ErrOrStderr(), faultLines(conductor))
	request := &ampledgerv1.StreamReadingsRequest{
		Conductor: conductor.GetName(), Channels: flags.channels, MaxRateHertz: flags.rate, FromOldest: flags.oldest,
	}
	rows := show.NewBuckets(c.OutOrStdout(), channels)
	err = daemon.FollowReadings(ctx, request, func(item *ampledgerv1.StreamReadingsResponse) error {
		if *flags.json {
			return show.JSONLine(c.OutOrStdout(), item)
		}
		return addTo(rows, item)
	})
	if ctx.Err() != nil {
		return rows.Flush() // interrupted: that is how it ends
	}
	if err = errors.Join(err, rows.Flush()); err != nil {
		return err
	}
	return failedDevices(ctx, daemon, conductor.GetName())
}

// failedDevices tells a conductor whose devices failed from one whose devices came to their end.
func failedDevices(ctx context.Context, daemon *client.Client, name string) error {
	conductor, err := findConductor(ctx, daemon, []string{name})
	if err != nil {
		return err
	}
	for _, fault := range conductor.GetFaults() {
		if strings.HasPrefix(fault, "device ") {
			return errors.New("the readings ended because of a failure: " + fault)
		}
	}
	return nil
}

func addTo(rows *show.Buckets, item *ampledgerv1.StreamReadingsResponse) error {
	if lost := item.GetLost(); lost != nil {
		return rows.Lost(lost)
	}
	return rows.Add(item.GetBucket())
}
