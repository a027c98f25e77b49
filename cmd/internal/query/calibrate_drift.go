package query

import (
	"context"
	"fmt"
	"strconv"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func calibrateDriftCommand() *cobra.Command {
	request, records := &ampledgerv1.FitZeroDriftRequest{}, []string{}
	c := &cobra.Command{
		Use: "drift [CONDUCTOR]", Short: "Make offset and slope of zeros at several temperatures", Args: cobra.MaximumNArgs(1),
		Long: "calibrate drift makes a straight line over temperature of a channel's zeros that `ampledger zero` recorded, each weighed by its uncertainty. The channel needs a\n" +
			"temperature input. Nothing is applied: `ampledger calibrate apply RECORD` does.",
	}
	c.Flags().StringVar(&request.Channel, "channel", "", "the channel (required)")
	c.Flags().StringSliceVar(&records, "records", nil, "the zeros, by their records; default all since the newest change")
	c.Flags().Float64Var(&request.ReferenceCelsius, "at", 25, "temperature the offset is to hold at, °C")
	c.Flags().StringVar(&request.By, "by", "", "who says so; goes into the record")
	c.Flags().StringVar(&request.Note, "note", "", "in words; goes into the record")
	asJSON := jsonFlag(c)
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if request.GetChannel() == "" {
			return cli.Usagef("--channel is required: the channel whose zeros to take")
		}
		if request.ZeroSequence, err = sequences("--records", records); err != nil {
			return err
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			conductor, err := findConductor(ctx, daemon, args)
			if err != nil {
				return err
			}
			request.Conductor = conductor.GetName()
			ctx, cancel := context.WithTimeout(ctx, answerWithin)
			defer cancel()
			response, err := daemon.Commissioning.FitZeroDrift(ctx, request)
			if err != nil {
				return err
			}
			if *asJSON {
				return show.JSON(c.OutOrStdout(), response)
			}
			_, err = fmt.Fprintln(c.OutOrStdout(), recordLine(response.GetRecord()))
			return err
		})
	}
	return c
}

// sequences reads the numbers of records.
func sequences(flag string, texts []string) (numbers []uint64, err error) {
	for _, text := range texts {
		number, err := strconv.ParseUint(text, 10, 64)
		if err != nil || number == 0 {
			return nil, cli.Usagef("%s: %q is no number of a record; `ampledger calibrate records` lists them", flag, text)
		}
		numbers = append(numbers, number)
	}
	return numbers, nil
}
