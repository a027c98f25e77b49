package query

import (
	"testing"

	"github.com/ampledger/ampledger/cmd/internal/cli/clitest"
)

func TestMain(m *testing.M) { clitest.Main(m, Command) }

func TestScripts(t *testing.T) { clitest.Run(t, Command, "../../..") }
