// Package shipped is the table of the plugins that come with the program. Each runs as a process of its own: the program starts its own
// executable again, with the arguments `plugin` and the plugin's name.
package shipped

import (
	"maps"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"go.uber.org/zap"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/driver/can"
	"github.com/ampledger/ampledger/plugins/driver/iio"
	"github.com/ampledger/ampledger/plugins/driver/modbus"
	"github.com/ampledger/ampledger/plugins/driver/replay"
	"github.com/ampledger/ampledger/plugins/driver/simulate"
	"github.com/ampledger/ampledger/plugins/estimator/biasfilter"
	"github.com/ampledger/ampledger/plugins/estimator/coulombsoc"
	"github.com/ampledger/ampledger/plugins/estimator/fixedzero"
	"github.com/ampledger/ampledger/plugins/plugin"
)

var plugins = map[string]func(){
	"driver/can":           func() { plugin.ServeDriver(can.New()) },
	"driver/iio":           func() { plugin.ServeDriver(iio.New()) },
	"driver/modbus":        func() { plugin.ServeDriver(modbus.New()) },
	"driver/replay":        func() { plugin.ServeDriver(replay.New()) },
	"driver/simulate":      func() { plugin.ServeDriver(simulate.New()) },
	"estimator/fixedzero":  func() { plugin.ServeEstimator(fixedzero.New()) },
	"estimator/biasfilter": func() { plugin.ServeEstimator(biasfilter.New()) },
	"estimator/coulombsoc": func() { plugin.ServeEstimator(coulombsoc.New()) },
}

// Command is the hidden command that becomes a plugin.
func Command() *cobra.Command {
	return &cobra.Command{
		Use: "plugin NAME", Short: "Become a shipped plugin (started by the daemon itself)", Hidden: true, Args: cli.Arguments(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if args[0] == pluginhost.GuardianName { // no plugin, but started in the same way
				pluginhost.Guard()
				return nil
			}
			serve := plugins[args[0]]
			if serve == nil {
				return cli.Usagef("there is no shipped plugin %q; there are %s", args[0], strings.Join(names(""), ", "))
			}
			serve()
			return nil
		},
	}
}

// names gives the names under a prefix, in order.
func names(prefix string) (under []string) {
	for _, name := range slices.Sorted(maps.Keys(plugins)) {
		if rest, found := strings.CutPrefix(name, prefix); found {
			under = append(under, rest)
		}
	}
	return under
}

// Options are a daemon's, with the shipped plugins started from this executable.
func Options(log *zap.Logger) (*daemon.Options, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	return &daemon.Options{
		Executable: self, Arguments: []string{"plugin"}, Drivers: names("driver/"), Estimators: names("estimator/"), Log: log,
	}, nil
}
