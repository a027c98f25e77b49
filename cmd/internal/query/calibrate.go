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

// pointFlags are how a point of a calibration comes.
type pointFlags struct {
	channel, reference, against, file, sweep string
	seconds                                  float64
	by, note                                 string
}

func calibrateCommand() *cobra.Command {
	flags := pointFlags{}
	c := &cobra.Command{
		Use: "calibrate [CONDUCTOR]", Short: "Calibrate a channel: take points, fit, apply, revert", Args: cobra.MaximumNArgs(1),
		Long: "calibrate takes a point: what flows by the reference, and what the channel indicates, which is measured for some seconds from now on, before any estimated\n" +
			"offset. Or it takes points from a file, or another channel of the conductor as the reference. Points are records; `calibrate fit` makes a line or a curve\n" +
			"of them, `calibrate apply` puts it in force, `calibrate revert` takes it back, `calibrate records` lists all of it.\n" +
			"Take points in both directions, going up and going down again (--sweep), so that hysteresis shows. Amperes have the sign of the channel's readings.\n" +
			"Work on packs above 60 V DC is for qualified people under local codes.",
	}
	c.Flags().StringVar(&flags.channel, "channel", "", "the channel (required)")
	c.Flags().StringVar(&flags.reference, "reference", "", "what flows, with its standard uncertainty, such as 100.02A±0.02 or -50A+-0.01")
	c.Flags().StringVar(&flags.against, "against", "", "another channel of the conductor that is the reference")
	c.Flags().StringVar(&flags.file, "points", "", "table of points: columns reference_amperes, reference_uncertainty_amperes, indicated_amperes and, if there are,\n"+
		"indicated_uncertainty_amperes and sweep (up, down or empty)")
	c.Flags().StringVar(&flags.sweep, "sweep", "", "how the current was come to: up or down")
	c.Flags().Float64Var(&flags.seconds, "seconds", 5, "how long the channel is measured, at most an hour")
	c.Flags().StringVar(&flags.by, "by", "", "who says so; goes into the record")
	c.Flags().StringVar(&flags.note, "note", "", "in words; goes into the record")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		requests, err := flags.requests()
		if err != nil {
			return err
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			return takePoints(ctx, c, daemon, args, requests, *asJSON)
		})
	}
	c.AddCommand(calibrateFitCommand(), calibrateDriftCommand(), calibrateApplyCommand(), calibrateRevertCommand(), calibrateRecordsCommand())
	return c
}

// sweeps are the ways to come to a point.
var sweeps = map[string]ampledgerv1.Sweep{
	"": ampledgerv1.Sweep_SWEEP_UNSPECIFIED, "up": ampledgerv1.Sweep_SWEEP_UP, "down": ampledgerv1.Sweep_SWEEP_DOWN,
}

// requests makes what is asked of the daemon, but for the conductor.
func (f *pointFlags) requests() ([]*ampledgerv1.AddCalibrationPointRequest, error) {
	given := 0
	for _, way := range []string{f.reference, f.against, f.file} {
		if way != "" {
			given++
		}
	}
	sweep, known := sweeps[f.sweep]
	switch {
	case f.channel == "":
		return nil, cli.Usagef("--channel is required: the channel to calibrate")
	case given != 1:
		return nil, cli.Usagef("give --reference AMPERES±UNCERTAINTY, --against CHANNEL or --points FILE, one of them")
	case !known:
		return nil, cli.Usagef("--sweep %q is none of up, down", f.sweep)
	case !(f.seconds > 0 && f.seconds <= time.Hour.Seconds()):
		return nil, cli.Usagef("--seconds %g must be above 0 and at most 3600", f.seconds)
	}
	if f.file != "" {
		points, err := readPoints(f.file)
		for _, p := range points {
			p.Channel, p.By, p.Note = f.channel, f.by, f.note
		}
		return points, err
	}
	request := &ampledgerv1.AddCalibrationPointRequest{
		Channel: f.channel, ReferenceChannel: f.against, Sweep: sweep, DurationNanos: int64(f.seconds * 1e9), By: f.by, Note: f.note,
	}
	if f.reference != "" {
		amperes, uncertainty, err := parseReference(f.reference)
		if err != nil {
			return nil, cli.Usagef("--reference %w", err)
		}
		request.ReferenceAmperes, request.ReferenceUncertaintyAmperes = &amperes, uncertainty
	}
	return []*ampledgerv1.AddCalibrationPointRequest{request}, nil
}

// takePoints takes points one by one; the first that is refused ends it.
func takePoints(ctx context.Context, c *cobra.Command, daemon *client.Client, args []string, requests []*ampledgerv1.AddCalibrationPointRequest, asJSON bool) error {
	conductor, err := findConductor(ctx, daemon, args)
	if err != nil {
		return err
	}
	var records []*ampledgerv1.CommissioningRecord
	for _, request := range requests {
		request.Conductor = conductor.GetName()
		record, err := takePoint(ctx, daemon, request)
		if err != nil {
			return err
		}
		if records = append(records, record); !asJSON {
			fmt.Fprintln(c.OutOrStdout(), recordLine(record))
		}
	}
	if asJSON {
		return show.JSONList(c.OutOrStdout(), records)
	}
	return nil
}

func takePoint(ctx context.Context, daemon *client.Client, request *ampledgerv1.AddCalibrationPointRequest) (*ampledgerv1.CommissioningRecord, error) {
	ctx, cancel := context.WithTimeout(ctx, time.Duration(request.GetDurationNanos())+zeroMargin)
	defer cancel()
	response, err := daemon.Commissioning.AddCalibrationPoint(ctx, request)
	return response.GetRecord(), err
}
