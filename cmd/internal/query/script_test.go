package query

import (
	"os"
	"testing"

	"go.uber.org/goleak"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/cli/clitest"
)

// TestMain makes the test binary its own plugins, as the program's executable is.
func TestMain(m *testing.M) {
	if len(os.Args) == 3 && os.Args[1] == "plugin" {
		os.Exit(cli.Main(Command(), os.Args[1:], os.Stdout, os.Stderr))
	}
	goleak.VerifyTestMain(m)
}

func TestScripts(t *testing.T) { clitest.Run(t, Command, "../../..") }
