// Command ampledgerd is the daemon. See its help.
package main

import (
	"os"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/serve"
)

func main() {
	os.Exit(cli.Main(serve.Command(), os.Args[1:], os.Stdout, os.Stderr))
}
