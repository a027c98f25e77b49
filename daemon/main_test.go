package daemon_test

import (
	"os"
	"path/filepath"
	"testing"

	"go.uber.org/zap"
	"go.uber.org/zap/zaptest"

	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/daemontest"
)

func TestMain(m *testing.M) {
	if path := os.Getenv(childVariable); path != "" && len(os.Args) == 1 {
		os.Exit(serveChild(path))
	}
	if socket := os.Getenv(rigVariable); socket != "" && len(os.Args) == 1 {
		os.Exit(feedChild(socket))
	}
	daemontest.Main(m)
}

// options are a daemon's whose errors are in the test's log.
func options(t testing.TB) *daemon.Options {
	t.Helper()
	return daemontest.Options(t, zaptest.NewLogger(t, zaptest.Level(zap.ErrorLevel)))
}

// load reads a configuration whose relative paths start from a folder of the test's own, which it gives too.
func load(t testing.TB, text string) (*config.Config, string) {
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
