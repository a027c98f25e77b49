// Package query is the command `ampledger`.
package query

import (
	"context"
	"fmt"
	"os"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/shipped"
)

const (
	addressVariable = "AMPLEDGER_ADDRESS"
	defaultAddress  = "unix:state/ampledger.sock"
)

// Command makes the command with all its subcommands.
func Command() *cobra.Command {
	root := &cobra.Command{
		Use:   "ampledger",
		Short: "Ask for a battery pack's amperes, charge and abuse events",
		Long: `ampledger asks a running daemon (ampledgerd) for calibrated amperes, integrated charge and abuse events, and processes
recordings through the same pipeline without a daemon. ` + "`ampledger demo`" + ` needs neither a daemon nor a configuration.

It measures and records. It is not a protective device: fuses, breakers and the certified protection of the battery are.
Work on packs above 60 V DC is for qualified people under local codes.`,
	}
	address := os.Getenv(addressVariable)
	if address == "" {
		address = defaultAddress
	}
	root.PersistentFlags().String("address", address, "the daemon's socket; default from "+addressVariable)
	return cli.Group(root, demoCommand(), watchCommand(), chargeCommand(), abuseCommand(), recoverCommand(), recordCommand(), estimatorCommand(), zeroCommand(), calibrateCommand(), markCommand(), processCommand(), scoreCommand(), stabilityCommand(), budgetCommand(), reportCommand(), shipped.Command())
}

// connected runs do with a client for --address.
func connected(c *cobra.Command, do func(ctx context.Context, daemon *client.Client) error) error {
	address, err := c.Flags().GetString("address")
	if err != nil {
		return err
	}
	daemon, err := client.Dial(address)
	if err != nil {
		return cli.Usagef("--address: %w", err)
	}
	defer daemon.Close()
	daemon.Away = func(reason error) {
		if reason == nil {
			fmt.Fprintln(c.ErrOrStderr(), "the daemon answers again")
			return
		}
		fmt.Fprintf(c.ErrOrStderr(), "the daemon is away (%s); waiting for it\n", status.Convert(reason).Message())
	}
	return do(c.Context(), daemon)
}

// jsonFlag adds --json.
func jsonFlag(c *cobra.Command) *bool {
	return c.Flags().Bool("json", false, "write JSON, with the names and units of the API")
}
