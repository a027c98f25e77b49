package daemon_test

import (
	"os"
	"path/filepath"
	"testing"

	"go.uber.org/goleak"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest"

	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/plugins/driver/replay"
	"github.com/ampledger/ampledger/plugins/driver/simulate"
	"github.com/ampledger/ampledger/plugins/estimator/biasfilter"
	"github.com/ampledger/ampledger/plugins/estimator/fixedzero"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// TestMain makes the test binary its own plugins, as the program's executable is: real processes, real protocol.
func TestMain(m *testing.M) {
	if len(os.Args) == 3 && os.Args[1] == "plugin" {
		map[string]func(){
			"driver/replay":        func() { plugin.ServeDriver(replay.New()) },
			"driver/simulate":      func() { plugin.ServeDriver(simulate.New()) },
			"estimator/fixedzero":  func() { plugin.ServeEstimator(fixedzero.New()) },
			"estimator/biasfilter": func() { plugin.ServeEstimator(biasfilter.New()) },
		}[os.Args[2]]()
		return
	}
	goleak.VerifyTestMain(m)
}

// options are a daemon's whose shipped plugins are this test binary.
func options(t *testing.T) *daemon.Options {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	return &daemon.Options{
		Executable: self, Arguments: []string{"plugin"}, Drivers: []string{"replay", "simulate"}, Estimators: []string{"biasfilter", "fixedzero"},
		Log: zaptest.NewLogger(t, zaptest.Level(zap.ErrorLevel)),
	}
}

// load reads a configuration whose relative paths start from a folder of the test's own, which it gives too.
func load(t *testing.T, text string) (*config.Config, string) {
	t.Helper()
	folder := t.TempDir()
	file := filepath.Join(folder, "pack.yaml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := config.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	return c, folder
}

// recording gives the path of a recording.
func recording(t *testing.T, name string) string {
	t.Helper()
	path, err := filepath.Abs(filepath.Join("../testdata/recordings", name+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	return path
}
