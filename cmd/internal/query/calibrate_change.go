package query

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// applyFlags are how a record is applied.
type applyFlags struct {
	zero, gain float64
	expires    string
	force      bool
}

func (f *applyFlags) add(c *cobra.Command) {
	c.Flags().Float64Var(&f.zero, "zero-uncertainty", 0, "standard uncertainty of the zero from then on, amperes, not less than was found; default what is stated now, or what was found if that is greater")
	c.Flags().Float64Var(&f.gain, "gain-uncertainty", 0, "relative standard uncertainty of the gain from then on, likewise")
	c.Flags().StringVar(&f.expires, "expires", "", "when it should be found anew, a date such as 2027-01-31: an event warns from then on")
	c.Flags().BoolVar(&f.force, "force", false, "apply it although its figures speak against it; goes into the record")
}

// request makes what is asked of the daemon, but for the record. A figure that was not given is left to the daemon.
func (f *applyFlags) request(c *cobra.Command) (*ampledgerv1.ApplyCalibrationRequest, error) {
	request := &ampledgerv1.ApplyCalibrationRequest{Force: f.force}
	if c.Flags().Changed("zero-uncertainty") {
		request.ZeroUncertaintyAmperes = &f.zero
	}
	if c.Flags().Changed("gain-uncertainty") {
		request.GainUncertaintyRatio = &f.gain
	}
	if f.expires != "" {
		date, err := time.Parse(time.DateOnly, f.expires)
		if err != nil {
			return nil, cli.Usagef("--expires %q is no date such as 2027-01-31", f.expires)
		}
		request.ExpiresWallNanos = date.UnixNano()
	}
	return request, nil
}

func calibrateApplyCommand() *cobra.Command {
	flags, by, note := applyFlags{}, "", ""
	c := &cobra.Command{
		Use: "apply RECORD", Short: "Put a zero, a drift or a calibration in force", Args: cli.Arguments(1),
		Long: "calibrate apply puts what a record found in force: readings are converted so from the next one on, over restarts too, until it is reverted. The ledger gets an\n" +
			"entry that says from when on. The conductor's estimators begin anew, since what they had learnt was of the channel as it read before.",
	}
	flags.add(c)
	c.Flags().StringVar(&by, "by", "", "who does; goes into the record")
	c.Flags().StringVar(&note, "note", "", "why; goes into the record")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		request, err := flags.request(c)
		if err != nil {
			return err
		}
		if request.RecordSequence, err = strconv.ParseUint(args[0], 10, 64); err != nil {
			return cli.Usagef("%q is no number of a record; `ampledger calibrate records` lists them", args[0])
		}
		request.By, request.Note = by, note
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			return applyRecord(ctx, c, daemon, request, *asJSON)
		})
	}
	return c
}

// changeWithin is how long a change may take: estimators begin anew in it.
const changeWithin = 2 * time.Minute

func applyRecord(ctx context.Context, c *cobra.Command, daemon *client.Client, request *ampledgerv1.ApplyCalibrationRequest, asJSON bool) error {
	ctx, cancel := context.WithTimeout(ctx, changeWithin)
	defer cancel()
	response, err := daemon.Commissioning.ApplyCalibration(ctx, request)
	if err != nil {
		return err
	}
	if asJSON {
		return show.JSON(c.OutOrStdout(), response)
	}
	_, err = fmt.Fprintf(c.OutOrStdout(), "%s\nin force from sequence %d on; the estimators begin anew\n", recordLine(response.GetRecord()), response.GetFromSequence())
	return err
}

func calibrateRevertCommand() *cobra.Command {
	request := &ampledgerv1.RevertCalibrationRequest{}
	c := &cobra.Command{
		Use: "revert [CONDUCTOR]", Short: "Take the newest change of a channel back that is in force", Args: cobra.MaximumNArgs(1),
		Long: "calibrate revert puts what was in force before the newest change that is still in force in force again. The ledger gets an entry, and the estimators begin anew.",
	}
	c.Flags().StringVar(&request.Channel, "channel", "", "the channel (required)")
	c.Flags().StringVar(&request.By, "by", "", "who does; goes into the record")
	c.Flags().StringVar(&request.Note, "note", "", "why; goes into the record")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		if request.GetChannel() == "" {
			return cli.Usagef("--channel is required: the channel whose change to take back")
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			return revertChange(ctx, c, daemon, args, request, *asJSON)
		})
	}
	return c
}

func revertChange(ctx context.Context, c *cobra.Command, daemon *client.Client, args []string, request *ampledgerv1.RevertCalibrationRequest, asJSON bool) error {
	conductor, err := findConductor(ctx, daemon, args)
	if err != nil {
		return err
	}
	request.Conductor = conductor.GetName()
	ctx, cancel := context.WithTimeout(ctx, changeWithin)
	defer cancel()
	response, err := daemon.Commissioning.RevertCalibration(ctx, request)
	if err != nil {
		return err
	}
	if asJSON {
		return show.JSON(c.OutOrStdout(), response)
	}
	_, err = fmt.Fprintf(c.OutOrStdout(), "%s\nin force from sequence %d on; the estimators begin anew\n", recordLine(response.GetRecord()), response.GetFromSequence())
	return err
}
