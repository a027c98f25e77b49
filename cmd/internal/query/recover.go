package query

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/daemon/store"
)

func recoverCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "recover FILE OUT", Short: "Save what can be read of a damaged ledger into a new file", Args: cli.Arguments(2),
		Long: "recover reads a ledger's file that a daemon refuses, page by page, and makes a new one of it. FILE is only read; OUT must not exist.\n" +
			"Stop the daemon first. The new ledger holds the entries from the first on that are as they were chained, then nothing: what could be\n" +
			"read behind them is kept aside in OUT, in tables no balance counts, for an auditor to judge. Events,\n" +
			"acknowledgements and the devices' sequences are taken over; waveforms are left behind, and estimators begin anew. Put OUT in the place\n" +
			"of FILE when you have read what it says, and keep FILE.",
	}
	asJSON := c.Flags().Bool("json", false, "write JSON; the unit is in each name")
	c.RunE = func(c *cobra.Command, args []string) error {
		return recoverLedger(c.Context(), c, args[0], args[1], *asJSON)
	}
	return c
}

// recoveryJSON is what was saved, for programs.
type recoveryJSON struct {
	File           string   `json:"file"`
	Head           headJSON `json:"head"`
	AsideCount     uint64   `json:"aside_count"`
	EventCount     uint64   `json:"event_count"`
	LostEventCount uint64   `json:"lost_event_count"`
	SeenCount      uint64   `json:"acknowledgement_count"`
	Lines          []string `json:"lines"`
}

func recoverLedger(ctx context.Context, c *cobra.Command, from, to string, asJSON bool) error {
	progress := cli.NewProgress(c.ErrOrStderr())
	got, err := store.Recover(ctx, from, to, func(done, of uint64) {
		progress.Update(func() string { return fmt.Sprintf("%d of %d pages", done, of) })
	})
	progress.Done()
	if err != nil {
		return err
	}
	if asJSON {
		encoder := json.NewEncoder(c.OutOrStdout())
		encoder.SetIndent("", "  ")
		head := headJSON{got.Head.EntrySequence, hex.EncodeToString(got.Head.Chain[:])}
		return encoder.Encode(recoveryJSON{to, head, got.AsideCount, got.EventCount, got.LostCount, got.SeenCount, got.Lines})
	}
	for _, line := range got.Lines {
		if _, err := fmt.Fprintln(c.OutOrStdout(), line); err != nil {
			return err
		}
	}
	return nil
}
