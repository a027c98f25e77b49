package query

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func zeroCommand() *cobra.Command {
	request := &ampledgerv1.CaptureZeroRequest{}
	var length time.Duration
	c := &cobra.Command{
		Use: "zero [CONDUCTOR]", Short: "Declare that no current flows for a time, and read the zero of each channel", Args: cobra.MaximumNArgs(1),
		Long: "zero declares that no current flows through the conductor from now on for a time: the estimator takes it as a rest, as it takes\n" +
			"an open contactor. Be sure of it: isolate the pack at its service disconnect or take the conductor off; a few milliamperes of\n" +
			"standing load become the zero. Work on packs above 60 V DC is for qualified people under local codes.\n" +
			"It ends with what each channel read and what became of its offset. Interrupted, it withdraws the declaration.",
	}
	c.Flags().DurationVar(&length, "for", time.Minute, "how long, at most an hour")
	c.Flags().StringVar(&request.By, "by", "", "who says so; goes into the log")
	c.Flags().StringVar(&request.Note, "note", "", "why; goes into the log")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		if length <= 0 || length > time.Hour {
			return cli.Usagef("--for %v must be above 0 and at most 1h", length)
		}
		request.DurationNanos = length.Nanoseconds()
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			return captureZero(ctx, c, daemon, args, request, *asJSON)
		})
	}
	return c
}

// zeroMargin is how much longer than its window a capture may take.
const zeroMargin = time.Minute

func captureZero(ctx context.Context, c *cobra.Command, daemon *client.Client, args []string, request *ampledgerv1.CaptureZeroRequest, asJSON bool) error {
	conductor, err := findConductor(ctx, daemon, args)
	if err != nil {
		return err
	}
	request.Conductor = conductor.GetName()
	length := time.Duration(request.GetDurationNanos())
	ctx, cancel := context.WithTimeout(ctx, length+zeroMargin)
	defer cancel()
	fmt.Fprintf(c.ErrOrStderr(), "no current through %s for %v from now on; interrupt to withdraw\n", request.GetConductor(), length)
	response, err := daemon.Commissioning.CaptureZero(ctx, request)
	if err != nil {
		return err
	}
	if asJSON {
		return show.JSON(c.OutOrStdout(), response)
	}
	return writeZero(c.OutOrStdout(), response)
}

func writeZero(to io.Writer, response *ampledgerv1.CaptureZeroResponse) error {
	fmt.Fprintf(to, "Zero from %s to %s\n", show.Clock(response.GetFromWallNanos()), show.Clock(response.GetToWallNanos()))
	for _, z := range response.GetChannels() {
		temperature := ""
		if z.GetTemperatureKnown() {
			temperature = fmt.Sprintf(" at %.1f °C", z.GetTemperatureCelsius())
		}
		fmt.Fprintf(to, "  %-16s read %+.5f A ± %.5f A (%d readings)%s; offset was %+.5f A ± %.5f A, is %+.5f A ± %.5f A\n", z.GetChannel(),
			z.GetMeanAmperes(), z.GetStandardUncertaintyAmperes(), z.GetReadingCount(), temperature,
			z.GetOffsetBeforeAmperes(), z.GetOffsetBeforeUncertaintyAmperes(), z.GetOffsetAfterAmperes(), z.GetOffsetAfterUncertaintyAmperes())
	}
	return writeNotes(to, response.GetNotes())
}

// writeNotes writes what an estimator had to say.
func writeNotes(to io.Writer, notes []string) (err error) {
	for _, note := range notes {
		_, err = fmt.Fprintln(to, "  "+note)
	}
	return err
}
