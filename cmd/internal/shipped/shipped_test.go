package shipped

import (
	"os"
	"path/filepath"
	"testing"

	"go.uber.org/goleak"

	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/estimator/estimatortest"
	"github.com/ampledger/ampledger/plugins/plugintest"
)

// The test's own executable becomes a plugin as the program's does.
func TestMain(m *testing.M) {
	if len(os.Args) == 3 && os.Args[1] == "plugin" {
		plugins[os.Args[2]]()
		return
	}
	goleak.VerifyTestMain(m)
}

func itself(t *testing.T, name string) plugintest.Executable {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	return plugintest.Executable{Path: self, Arguments: []string{"plugin", name}, Environment: []string{"GORACE=atexit_sleep_ms=0"}}
}

// What estimators cannot do without.
var required = map[string]map[string]any{"coulombsoc": {"capacity_coulombs": 36000}}

// In process, with more settings, each plugin's own tests run the same suites.
func TestEstimatorsAsProcesses(t *testing.T) {
	for _, name := range names("estimator/") {
		t.Run(name, func(t *testing.T) { estimatortest.RunCommand(t, itself(t, "estimator/"+name), required[name]) })
	}
}

func TestDriversAsProcesses(t *testing.T) {
	recording, err := filepath.Abs("../../../testdata/recordings/drive_us06_25c_10hz.csv")
	if err != nil {
		t.Fatal(err)
	}
	for name, settings := range map[string]map[string]any{
		"replay": {"file": recording, "speed": 0},
		"simulate": {"rate_hertz": 1000, "duration_seconds": 5, "speed": 0, "seed": 1,
			"shunt": map[string]any{"resistance_ohms": 0.0001, "bits": 16, "volts_per_code": 1e-6, "noise_amperes": 0.05}},
	} {
		t.Run(name, func(t *testing.T) { drivertest.RunCommand(t, itself(t, "driver/"+name), settings) })
	}
}
