//go:build distribution

package python_test

import (
	"os/exec"
	"path/filepath"
	"testing"

	"go.uber.org/goleak"

	"github.com/ampledger/ampledger/plugins/estimator/estimatortest"
	"github.com/ampledger/ampledger/plugins/plugintest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// The environment is empty, so /usr/bin/env finds the distribution's python3.
func TestExampleConforms(t *testing.T) {
	estimatortest.RunCommand(t, plugintest.Executable{Path: "./declared.py", Plaintext: true}, map[string]any{estimatortest.Shunt: 0.3})
}

func TestEstimatorConforms(t *testing.T) {
	estimatortest.RunCommand(t, plugintest.Executable{Path: "./restmean.py", Plaintext: true}, map[string]any{"walk_amperes_per_root_hour": 0.1})
}

// One file holds the script and what it imports, the distribution's packages apart, so that its checksum covers them; -I keeps others out.
func TestArchiveConforms(t *testing.T) {
	archive := filepath.Join(t.TempDir(), "restmean")
	pack := exec.CommandContext(t.Context(), "/usr/bin/python3", "-m", "zipapp", ".", "-m", "restmean:main", "-p", "/usr/bin/python3 -I", "-o", archive)
	if said, err := pack.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	plugintest.Executable{Path: archive, Plaintext: true}.Run(t, "estimator")
}
