package query

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func calibrateRecordsCommand() *cobra.Command {
	channel := ""
	c := &cobra.Command{
		Use: "records [CONDUCTOR]", Short: "List what was found at commissioning and what of it was applied", Args: cobra.MaximumNArgs(1),
		Long: "calibrate records lists the records of zeros, points, calibrations and changes of a conductor, the oldest first. They are only ever added to.",
	}
	c.Flags().StringVar(&channel, "channel", "", "only those of this channel")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			conductor, err := findConductor(ctx, daemon, args)
			if err != nil {
				return err
			}
			records, err := recordsOf(ctx, daemon, conductor.GetName(), channel)
			if err != nil {
				return err
			}
			if *asJSON {
				return show.JSONList(c.OutOrStdout(), records)
			}
			for _, record := range records {
				fmt.Fprintln(c.OutOrStdout(), recordLine(record))
			}
			return nil
		})
	}
	return c
}

// recordsOf gives all records of a conductor, or of one of its channels.
func recordsOf(ctx context.Context, daemon *client.Client, conductor, channel string) (records []*ampledgerv1.CommissioningRecord, err error) {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	request := &ampledgerv1.ListRecordsRequest{Conductor: conductor, Channel: channel}
	for {
		page, err := daemon.Commissioning.ListRecords(ctx, request)
		if err != nil {
			return nil, err
		}
		if len(page.GetRecords()) == 0 {
			return records, nil
		}
		records = append(records, page.GetRecords()...)
		request.AfterSequence = records[len(records)-1].GetRecordSequence()
	}
}

// recordLine writes a record on one line, its place last.
func recordLine(r *ampledgerv1.CommissioningRecord) string {
	line := fmt.Sprintf("%s  %s/%s  %s", show.Clock(r.GetWallNanos()), r.GetConductor(), r.GetChannel(), recordSays(r))
	if r.GetBy() != "" {
		line += "  by " + show.Plain(r.GetBy())
	}
	if r.GetNote() != "" {
		line += ": " + show.Plain(r.GetNote())
	}
	return fmt.Sprintf("%s  #%d", line, r.GetRecordSequence())
}

// recordSays writes what a record says.
func recordSays(r *ampledgerv1.CommissioningRecord) string {
	switch {
	case r.GetZero() != nil:
		z := r.GetZero()
		verdict := "steady"
		if !z.GetSteady() {
			verdict = "not steady, kept by force: " + z.GetReason()
		}
		return fmt.Sprintf("zero %+.6g A ± %.2g A, %s%s", z.GetMeanAmperes(), z.GetStandardUncertaintyAmperes(), verdict, atCelsius(z.TemperatureCelsius))
	case r.GetDrift() != nil:
		d := r.GetDrift()
		return fmt.Sprintf("zero %+.6g A ± %.2g A at %.4g °C, drift %+.4g A/K ± %.2g A/K", d.GetOffsetAmperes(), d.GetOffsetUncertaintyAmperes(), d.GetReferenceCelsius(),
			d.GetSlopeAmperesPerKelvin(), d.GetSlopeUncertaintyAmperesPerKelvin())
	case r.GetPoint() != nil:
		p := r.GetPoint()
		said := fmt.Sprintf("point %+.6g A ± %.2g A%s, indicated %+.6g A ± %.2g A", p.GetReferenceAmperes(), p.GetReferenceUncertaintyAmperes(), byChannel(p), p.GetIndicatedAmperes(),
			p.GetIndicatedUncertaintyAmperes())
		if sweep := sweepSays(p.GetSweep()); sweep != "" {
			said += ", " + sweep
		}
		return said
	case r.GetCalibration() != nil:
		k := r.GetCalibration()
		return fmt.Sprintf("calibration of %d points: offset %+.5g A ± %.2g A, gain %.6g ± %.2g", len(k.GetPointSequence()), k.GetOffsetAmperes(),
			k.GetOffsetUncertaintyAmperes(), k.GetGainRatio(), k.GetGainUncertaintyRatio())
	case r.GetApplied() != nil:
		return fmt.Sprintf("applied record %d%s", r.GetRefersToSequence(), expiresSays(r.GetApplied().GetExpiresWallNanos()))
	case r.GetReverted() != nil:
		return fmt.Sprintf("reverted record %d, in force is %s", r.GetRefersToSequence(), inForceSays(r.GetReverted().GetInForceAfterSequence()))
	}
	return "lost: it could not be read when the file was recovered"
}

func atCelsius(celsius *float64) string {
	if celsius == nil {
		return ""
	}
	return fmt.Sprintf(", at %.1f °C", *celsius)
}

func byChannel(p *ampledgerv1.CalibrationPoint) string {
	if p.GetReferenceChannel() == "" {
		return ""
	}
	return " by channel " + p.GetReferenceChannel()
}

func sweepSays(sweep ampledgerv1.Sweep) string {
	for name, of := range sweeps {
		if of == sweep && name != "" {
			return "going " + name
		}
	}
	return ""
}

func expiresSays(wallNanos int64) string {
	if wallNanos == 0 {
		return ""
	}
	return ", to be found anew by " + show.Clock(wallNanos)
}

func inForceSays(sequence uint64) string {
	if sequence == 0 {
		return "the configuration alone"
	}
	return fmt.Sprintf("record %d", sequence)
}
