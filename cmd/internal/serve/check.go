package serve

import (
	"encoding/json"
	"errors"
	"fmt"

	"github.com/spf13/cobra"
	"go.uber.org/zap"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/shipped"
	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
)

func checkCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "check CONFIG", Short: "Read a configuration, list every fault, and explain what it means for the measurement", Args: cli.Arguments(1),
		Long: "check reads the configuration as run does and lists all faults with line and column, exit status 2. If there are none, it starts each\n" +
			"driver for a moment to ask for its inputs and explains each channel: full scale, amperes per count, quantisation, power in the\n" +
			"shunt, expected drift of the charge. A driver that does not start is a failure, exit status 1.",
	}
	asJSON := c.Flags().Bool("json", false, "write JSON")
	c.RunE = func(c *cobra.Command, args []string) error {
		read, err := cli.LoadConfig(args[0])
		if err != nil {
			return err
		}
		options, err := shipped.Options(zap.NewNop())
		if err != nil {
			return err
		}
		described := daemon.Describe(c.Context(), read, options)
		explanation := config.Explain(read, facts(described))
		if *asJSON {
			encoder := json.NewEncoder(c.OutOrStdout())
			encoder.SetIndent("", "  ")
			err = encoder.Encode(explanation)
		} else {
			err = explanation.WriteText(c.OutOrStdout())
		}
		return errors.Join(err, undescribed(described))
	}
	return c
}

// facts translates what the drivers said.
func facts(described []daemon.Described) map[string]map[string]config.InputFacts {
	all := map[string]map[string]config.InputFacts{}
	for _, d := range described {
		all[d.Device] = map[string]config.InputFacts{}
		for _, input := range d.Description.GetInputs() {
			all[d.Device][input.GetName()] = config.InputFacts{
				Unit: input.GetUnit(), MinimumCode: float64(input.GetMinimumCode()), MaximumCode: float64(input.GetMaximumCode()),
				RangeKnown: input.GetCodeRangeKnown(), VoltsPerCode: input.GetVoltsPerCode(), ZeroCodeVolts: input.GetZeroCodeVolts(),
				RateHertz: d.Description.GetNominalRateHertz(),
			}
		}
	}
	return all
}

func undescribed(described []daemon.Described) (err error) {
	for _, d := range described {
		if d.Err != nil {
			err = errors.Join(err, fmt.Errorf("device %s: %w", d.Device, d.Err))
		}
	}
	return err
}
