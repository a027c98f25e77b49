package query

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// zeroFlags are the window, and what becomes of what was read in it.
type zeroFlags struct {
	request *ampledgerv1.CaptureZeroRequest
	length  time.Duration
	apply   []string // channels
	asJSON  bool
}

func zeroCommand() *cobra.Command {
	flags := zeroFlags{request: &ampledgerv1.CaptureZeroRequest{}}
	request := flags.request
	c := &cobra.Command{
		Use: "zero [CONDUCTOR]", Short: "Declare that no current flows for a time, and read the zero of each channel", Args: cobra.MaximumNArgs(1),
		Long: "zero declares that no current flows through the conductor from now on for a time: the estimator takes it as a rest, as it takes\n" +
			"an open contactor. Be sure of it: isolate the pack at its service disconnect or take the conductor off; a few milliamperes of\n" +
			"standing load become the zero. Work on packs above 60 V DC is for qualified people under local codes.\n" +
			"It ends with what each channel read and what became of its offset. Interrupted, it withdraws the declaration.\n" +
			"What a channel read is kept as a record if it was steady; `calibrate apply RECORD` then makes it the channel's zero. A channel that moved is refused, with\n" +
			"the reason and exit status 1, unless --force is given, which the record says.",
	}
	c.Flags().DurationVar(&flags.length, "for", time.Minute, "how long, at most an hour")
	c.Flags().StringVar(&request.By, "by", "", "who says so; goes into the log")
	c.Flags().StringVar(&request.Note, "note", "", "why; goes into the log")
	c.Flags().BoolVar(&request.Force, "force", false, "keep the zero of a channel that was not steady as well")
	c.Flags().StringSliceVar(&flags.apply, "apply", nil, "put what these channels read in force, as `calibrate apply` does; with --json a document each")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		if flags.length <= 0 || flags.length > time.Hour {
			return cli.Usagef("--for %v must be above 0 and at most 1h", flags.length)
		}
		flags.asJSON, request.DurationNanos = *asJSON, flags.length.Nanoseconds()
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			conductor, err := findConductor(ctx, daemon, args)
			if err != nil {
				return err
			}
			if err := flags.checkApply(conductor); err != nil {
				return err
			}
			request.Conductor = conductor.GetName()
			response, err := flags.capture(ctx, c, daemon)
			return errors.Join(err, flags.applyZeros(ctx, c, daemon, response))
		})
	}
	return c
}

// checkApply refuses channels that there are not before anybody waits for a window.
func (f *zeroFlags) checkApply(conductor *ampledgerv1.Conductor) error {
	var names []string
	for _, ch := range conductor.GetChannels() {
		if ch.GetSensor() != fusedSensor {
			names = append(names, ch.GetName())
		}
	}
	for _, name := range f.apply {
		if !slices.Contains(names, name) {
			return cli.Usagef("--apply: conductor %s has no channel %q that reads a sensor; it has %s", conductor.GetName(), name, strings.Join(names, ", "))
		}
	}
	return nil
}

// zeroMargin is how much longer than its window a capture may take.
const zeroMargin = time.Minute

// capture declares the window and writes what was read in it.
func (f *zeroFlags) capture(ctx context.Context, c *cobra.Command, daemon *client.Client) (*ampledgerv1.CaptureZeroResponse, error) {
	ctx, cancel := context.WithTimeout(ctx, f.length+zeroMargin)
	defer cancel()
	fmt.Fprintf(c.ErrOrStderr(), "no current through %s for %v from now on; interrupt to withdraw\n", f.request.GetConductor(), f.length)
	response, err := daemon.Commissioning.CaptureZero(ctx, f.request)
	if err != nil {
		return nil, err
	}
	if f.asJSON {
		err = show.JSON(c.OutOrStdout(), response)
	} else {
		err = writeZero(c.OutOrStdout(), response)
	}
	return response, errors.Join(err, refusedZeros(response))
}

// applyZeros puts what some channels read in force. What was not kept is an error already.
func (f *zeroFlags) applyZeros(ctx context.Context, c *cobra.Command, daemon *client.Client, response *ampledgerv1.CaptureZeroResponse) (err error) {
	for _, z := range response.GetChannels() {
		if z.GetRecordSequence() != 0 && slices.Contains(f.apply, z.GetChannel()) {
			err = errors.Join(err, applyRecord(ctx, c, daemon, &ampledgerv1.ApplyCalibrationRequest{
				RecordSequence: z.GetRecordSequence(), Force: f.request.GetForce(), By: f.request.GetBy(), Note: f.request.GetNote(),
			}, f.asJSON))
		}
	}
	return err
}

// refusedZeros names the channels whose zero was not kept.
func refusedZeros(response *ampledgerv1.CaptureZeroResponse) error {
	var names []string
	for _, z := range response.GetChannels() {
		if z.GetRecordSequence() == 0 {
			names = append(names, z.GetChannel())
		}
	}
	if len(names) == 0 {
		return nil
	}
	return fmt.Errorf("the zero of %s is not kept", strings.Join(names, ", "))
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
		fmt.Fprintln(to, "    "+zeroVerdict(z))
	}
	return writeNotes(to, response.GetNotes())
}

// zeroVerdict tells what the readings of a rest say, and whether they are kept.
func zeroVerdict(z *ampledgerv1.ChannelZero) string {
	text := ""
	if f := z.GetFound(); f != nil {
		text = fmt.Sprintf("its readings are worth %.3g independent ones: %+.6g A ± %.2g A; ", f.GetEffectiveCount(), f.GetMeanAmperes(), f.GetStandardUncertaintyAmperes())
		if f.GetBlockSize() > 1 {
			text += fmt.Sprintf("means of %d readings were looked at; ", f.GetBlockSize())
		}
	}
	switch {
	case z.GetRecordSequence() == 0:
		return text + "not kept: " + z.GetRefusal()
	case z.GetFound().GetForced():
		return text + fmt.Sprintf("record %d, kept by force: %s", z.GetRecordSequence(), z.GetFound().GetReason())
	}
	return text + fmt.Sprintf("steady; record %d", z.GetRecordSequence())
}

// writeNotes writes what an estimator had to say.
func writeNotes(to io.Writer, notes []string) (err error) {
	for _, note := range notes {
		_, err = fmt.Fprintln(to, "  "+note)
	}
	return err
}
