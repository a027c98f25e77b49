// Package serve is the command `ampledgerd`.
package serve

import (
	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/shipped"
)

// Command makes the command with all its subcommands.
func Command() *cobra.Command {
	return cli.Group(&cobra.Command{
		Use:   "ampledgerd",
		Short: "Read a battery pack's current channels and serve amperes, charge and abuse events",
		Long: `ampledgerd reads shunt and magnetic current channels through driver plugins, compensates their offsets, watches for
overcurrents, integrates the charge and serves all of it over gRPC on a unix socket, each figure with its uncertainty.

It measures and records. It is not a protective device: fuses, breakers and the certified protection of the battery are.`,
	}, runCommand(), checkCommand(), shipped.Command())
}
