// Command ampledger asks a daemon for readings, charge and events, and processes recordings without one. See its help.
package main

import (
	"os"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/query"
)

func main() {
	os.Exit(cli.Main(query.Command(), os.Args[1:], os.Stdout, os.Stderr))
}
