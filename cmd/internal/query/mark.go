package query

import (
	"context"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func markCommand() *cobra.Command {
	request := &ampledgerv1.PostMarkRequest{}
	var stored, uncertainty, at string
	c := &cobra.Command{
		Use: "mark [CONDUCTOR]", Short: "Say what charge the pack holds at a moment at which it is known", Args: cobra.MaximumNArgs(1),
		Long: "mark says what charge is stored in the pack at a moment at which it is known from elsewhere, as that of a full or an empty battery is.\n" +
			"Two marks bound what flowed between them: the estimator corrects the offsets and the charge that was counted, as far as the marks'\n" +
			"uncertainties allow. It ends with what follows from the mark; from the first one nothing does.",
	}
	c.Flags().StringVar(&stored, "stored", "", "the charge stored, such as 94.5Ah or 340200C, from an origin that is the same for all marks (required)")
	c.Flags().StringVar(&uncertainty, "uncertainty", "", "its standard uncertainty, such as 0.4Ah (required)")
	c.Flags().StringVar(&at, "at", "", "when, RFC 3339; default now")
	c.Flags().StringVar(&request.By, "by", "", "who says so; goes into the log")
	c.Flags().StringVar(&request.Note, "note", "", "how it is known; goes into the log")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if request.StoredCoulombs, err = parseCharge("--stored", stored); err != nil {
			return err
		}
		if request.StandardUncertaintyCoulombs, err = parseCharge("--uncertainty", uncertainty); err != nil {
			return err
		}
		if request.WallNanos, err = parseTime("--at", at); err != nil {
			return err
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			return postMark(ctx, c, daemon, args, request, *asJSON)
		})
	}
	return c
}

func postMark(ctx context.Context, c *cobra.Command, daemon *client.Client, args []string, request *ampledgerv1.PostMarkRequest, asJSON bool) error {
	conductor, err := findConductor(ctx, daemon, args)
	if err != nil {
		return err
	}
	request.Conductor = conductor.GetName()
	ctx, cancel := context.WithTimeout(ctx, zeroMargin)
	defer cancel()
	response, err := daemon.Charge.PostMark(ctx, request)
	if err != nil {
		return err
	}
	if asJSON {
		return show.JSON(c.OutOrStdout(), response)
	}
	return writeMark(c.OutOrStdout(), response)
}

func writeMark(to io.Writer, response *ampledgerv1.PostMarkResponse) error {
	fmt.Fprintf(to, "Mark taken at %s", show.Clock(response.GetWallNanos()))
	if carried := response.GetCarriedCoulombs(); carried != 0 {
		fmt.Fprintf(to, ", carried on by %+.6f Ah that flowed since", -carried/3600)
	}
	fmt.Fprintln(to)
	for _, move := range response.GetMoves() {
		fmt.Fprintf(to, "  %-16s balance moves by %s Ah; its uncertainty from zero and gain was %.6f Ah, is %.6f Ah\n", move.GetChannel(),
			show.AmpereHours(move.GetAdjustmentMicrocoulombs()), move.GetUncertaintyBeforeCoulombs()/3600, move.GetUncertaintyAfterCoulombs()/3600)
	}
	if len(response.GetNotes()) == 0 && !moved(response) {
		fmt.Fprintln(to, "  nothing follows from it (a first mark is what later ones are held against)")
	}
	return writeNotes(to, response.GetNotes())
}

// moved tells whether a mark changed any balance by a millicoulomb at least.
func moved(response *ampledgerv1.PostMarkResponse) bool {
	for _, move := range response.GetMoves() {
		if m := move.GetAdjustmentMicrocoulombs(); m >= 1000 || m <= -1000 {
			return true
		}
	}
	return false
}

// chargeUnits are the units a charge may be written in, in coulombs.
var chargeUnits = []struct {
	name     string
	coulombs float64
}{{"mAh", 3.6}, {"Ah", 3600}, {"C", 1}}

// parseCharge reads a charge with its unit.
func parseCharge(flag, text string) (coulombs float64, err error) {
	if text == "" {
		return 0, cli.Usagef("%s is required, such as 94.5Ah", flag)
	}
	for _, unit := range chargeUnits {
		number, has := strings.CutSuffix(text, unit.name)
		if !has {
			continue
		}
		value, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil || math.IsInf(value, 0) || math.IsNaN(value) {
			break
		}
		return value * unit.coulombs, nil
	}
	return 0, cli.Usagef("%s %q is no charge such as 94.5Ah, 300mAh or 340200C", flag, text)
}
