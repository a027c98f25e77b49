package query

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// fitFlags are how a calibration is made of points, and what becomes of it.
type fitFlags struct {
	request *ampledgerv1.FitCalibrationRequest
	records []string
	limit   float64
	picture string
	isToApply,
	asJSON bool
	apply applyFlags
}

func calibrateFitCommand() *cobra.Command {
	flags := &fitFlags{request: &ampledgerv1.FitCalibrationRequest{}}
	c := &cobra.Command{
		Use: "fit [CONDUCTOR]", Short: "Make a calibration of points, judge it, and apply it if asked to", Args: cobra.MaximumNArgs(1),
		Long: "calibrate fit makes a straight line, or a curve of the second or third degree, of a channel's points, each weighed by both its uncertainties, and tells\n" +
			"what is left: lack of fit, hysteresis, points that lie off (which count all the same), what the figures hint at, and how it compares with the calibration\n" +
			"before. Points of before a change of the channel are refused. Nothing is applied unless --apply is given.",
	}
	r := flags.request
	c.Flags().StringVar(&r.Channel, "channel", "", "the channel (required)")
	c.Flags().StringSliceVar(&flags.records, "records", nil, "the points, by their records; default all since the newest change")
	c.Flags().Uint32Var(&r.DegreeCount, "degree", 1, "1 = a straight line, 2 or 3 = a curve of that degree")
	c.Flags().Float64Var(&r.CommonOffsetAmperes, "reference-offset", 0, "standard uncertainty of the reference's zero, common to all points, amperes")
	c.Flags().Float64Var(&r.CommonGainRatio, "reference-gain", 0, "relative standard uncertainty of the reference's gain, common to all points, such as 0.0002")
	c.Flags().Float64Var(&flags.limit, "gain-limit", 1, "by so many percent the gain of a shunt may be too high before its sense leads are suspected")
	c.Flags().StringVar(&r.Instrument, "instrument", "", "the reference instrument, in words; goes into the record")
	c.Flags().StringVar(&r.Environment, "environment", "", "the environment, in words; goes into the record")
	c.Flags().StringVar(&r.Method, "method", "", "the method, in words; goes into the record")
	c.Flags().StringVar(&r.By, "by", "", "who says so; goes into the record")
	c.Flags().StringVar(&r.Note, "note", "", "in words; goes into the record")
	c.Flags().StringVar(&flags.picture, "plot", "", "draw the residuals into this file, .svg or .png")
	c.Flags().BoolVar(&flags.isToApply, "apply", false, "put it in force")
	flags.apply.add(c)
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		flags.asJSON = *asJSON
		if err := flags.check(); err != nil {
			return err
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error { return flags.run(ctx, c, daemon, args) })
	}
	return c
}

func (f *fitFlags) check() (err error) {
	switch {
	case f.request.GetChannel() == "":
		return cli.Usagef("--channel is required: the channel to calibrate")
	case f.request.GetDegreeCount() < 1 || f.request.GetDegreeCount() > 3:
		return cli.Usagef("--degree %d is none of 1, 2, 3", f.request.GetDegreeCount())
	case !(f.limit > 0 && f.limit < 100):
		return cli.Usagef("--gain-limit %g must be above 0 and below 100 percent", f.limit)
	case f.picture != "" && plotFormat(f.picture) == "":
		return cli.Usagef("--plot %s: the name must end in .svg or .png", f.picture)
	}
	f.request.GainLimitRatio = f.limit / 100
	f.request.PointSequence, err = sequences("--records", f.records)
	return err
}

func (f *fitFlags) run(ctx context.Context, c *cobra.Command, daemon *client.Client, args []string) error {
	apply, err := f.apply.request(c)
	if err != nil {
		return err
	}
	conductor, err := findConductor(ctx, daemon, args)
	if err != nil {
		return err
	}
	f.request.Conductor = conductor.GetName()
	within, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	response, err := daemon.Commissioning.FitCalibration(within, f.request)
	if err != nil {
		return err
	}
	fitted, err := newFitted(ctx, daemon, response.GetRecord())
	if err != nil {
		return err
	}
	if f.picture != "" {
		if err := fitted.draw(c, f.picture); err != nil {
			return err
		}
	}
	if f.asJSON {
		err = show.JSON(c.OutOrStdout(), response)
	} else {
		err = fitted.write(c.OutOrStdout())
	}
	if err != nil || !f.isToApply {
		return err
	}
	apply.RecordSequence, apply.By, apply.Note = response.GetRecord().GetRecordSequence(), f.request.GetBy(), f.request.GetNote()
	return applyRecord(ctx, c, daemon, apply, f.asJSON)
}

// fitted is a calibration with its points.
type fitted struct {
	record *ampledgerv1.CommissioningRecord
	points []*ampledgerv1.CalibrationPoint // as the residuals are
}

// newFitted fetches the points of a calibration.
func newFitted(ctx context.Context, daemon *client.Client, record *ampledgerv1.CommissioningRecord) (*fitted, error) {
	records, err := recordsOf(ctx, daemon, record.GetConductor(), record.GetChannel())
	if err != nil {
		return nil, err
	}
	return joinPoints(record, records)
}

// joinPoints finds the points of a calibration among records.
func joinPoints(record *ampledgerv1.CommissioningRecord, records []*ampledgerv1.CommissioningRecord) (*fitted, error) {
	at := map[uint64]*ampledgerv1.CalibrationPoint{}
	for _, r := range records {
		at[r.GetRecordSequence()] = r.GetPoint()
	}
	f := &fitted{record: record}
	for _, sequence := range record.GetCalibration().GetPointSequence() {
		if at[sequence] == nil {
			return nil, errors.New("a point of the calibration is gone: " + fmt.Sprintf("record %d", sequence))
		}
		f.points = append(f.points, at[sequence])
	}
	return f, nil
}
