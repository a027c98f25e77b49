package serve

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"go.uber.org/zap"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/shipped"
	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
)

func checkCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "check CONFIG", Short: "Read a configuration, list every fault, and explain what it means for the measurement",
		Long: "check reads the configuration as run does and lists all faults with line and column, exit status 2. If there are none, it starts each\n" +
			"driver for a moment to ask for its inputs and explains each channel: full scale, amperes per count, quantisation, power in the\n" +
			"shunt, noise, expected drift of the charge; and warns of likely mistakes. A driver that does not start, an input that it\n" +
			"does not have and a plugin that is not shipped are failures, exit status 1.\n" +
			"With --explain it lists every key instead, with its default and where its figure is found: on which line of a data sheet (sheet:), printed on a\n" +
			"shunt, or measured; CONFIG is left out.",
	}
	asJSON := c.Flags().Bool("json", false, "write JSON")
	keys := c.Flags().Bool("explain", false, "list the keys of a configuration and what they mean")
	c.Args = func(c *cobra.Command, args []string) error {
		if *keys && len(args) == 0 {
			return nil
		}
		if *keys {
			return cli.Usagef("--explain lists the keys of any configuration: leave %s out", args[0])
		}
		return cli.Arguments(1)(c, args)
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		if *keys {
			return writeKeys(c.OutOrStdout(), *asJSON)
		}
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
			err = writeJSON(c.OutOrStdout(), explanation)
		} else {
			err = explanation.WriteText(c.OutOrStdout())
		}
		return errors.Join(err, undescribed(described), daemon.Mistakes(read, options, described))
	}
	return c
}

func writeJSON(to io.Writer, value any) error {
	encoder := json.NewEncoder(to)
	encoder.SetIndent("", "  ")
	return encoder.Encode(value)
}

// writeKeys lists the keys, those of one mapping after another.
func writeKeys(to io.Writer, asJSON bool) error {
	if asJSON {
		return writeJSON(to, config.Keys())
	}
	for _, k := range config.Keys() {
		required := ""
		if k.Required {
			required = "required: "
		}
		if _, err := fmt.Fprintf(to, "%s\n    %s%s\n", k.Path, required, k.Meaning); err != nil {
			return err
		}
	}
	return nil
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
