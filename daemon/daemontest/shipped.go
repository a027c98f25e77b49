// Package daemontest lets a test binary be its own plugins, as the program's executable is: real processes, real protocol.
package daemontest

import (
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"go.uber.org/goleak"
	"go.uber.org/zap"

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
	pluginhost.GuardianName: pluginhost.Guard,
	"driver/can":            func() { plugin.ServeDriver(can.New()) },
	"driver/iio":            func() { plugin.ServeDriver(iio.New()) },
	"driver/modbus":         func() { plugin.ServeDriver(modbus.New()) },
	"driver/replay":         func() { plugin.ServeDriver(replay.New()) },
	"driver/simulate":       func() { plugin.ServeDriver(simulate.New()) },
	"estimator/coulombsoc":  func() { plugin.ServeEstimator(coulombsoc.New()) },
	"estimator/fixedzero":   func() { plugin.ServeEstimator(fixedzero.New()) },
	"estimator/biasfilter":  func() { plugin.ServeEstimator(biasfilter.New()) },
}

// names gives those under a prefix, in order.
func names(prefix string) (under []string) {
	for _, name := range slices.Sorted(maps.Keys(plugins)) {
		if rest, found := strings.CutPrefix(name, prefix); found {
			under = append(under, rest)
		}
	}
	return under
}

// Main becomes a plugin if the binary was started as one; else it runs the tests and looks for goroutines that were left running.
func Main(m *testing.M) {
	if len(os.Args) == 3 && os.Args[1] == "plugin" {
		plugins[os.Args[2]]()
		return
	}
	goleak.VerifyTestMain(m)
}

// Options are a daemon's whose shipped plugins are this test binary.
func Options(t testing.TB, log *zap.Logger) *daemon.Options {
	t.Helper()
	o, err := Itself(log)
	if err != nil {
		t.Fatal(err)
	}
	return o
}

// Itself is Options for a child process of a test.
func Itself(log *zap.Logger) (*daemon.Options, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	return &daemon.Options{
		Executable: self, Arguments: []string{"plugin"}, Drivers: names("driver/"), Estimators: names("estimator/"), Log: log,
	}, nil
}
