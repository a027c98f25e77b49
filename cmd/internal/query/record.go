package query

import (
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/daemon/recording"
)

func recordCommand() *cobra.Command {
	return cli.Group(&cobra.Command{Use: "record", Short: "Mend recordings of raw readings"}, recordRecoverCommand())
}

func recordRecoverCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "recover FILE", Short: "Complete a recording that was cut off, up to its last complete row group", Args: cli.Arguments(1),
		Long: "recover makes FILE.parquet of a FILE.parquet.part that a daemon left when it was killed, or of a copy of one: everything up to\n" +
			"its last complete row group stays, what comes behind it is cut off. A daemon does the same with its own files when it starts;\n" +
			"do not point this at a file that one is writing.",
	}
	asJSON := c.Flags().Bool("json", false, "write JSON; the unit is in each name")
	c.RunE = func(c *cobra.Command, args []string) error {
		saved, err := recording.Recover(args[0])
		if err != nil {
			return err
		}
		if *asJSON {
			encoder := json.NewEncoder(c.OutOrStdout())
			encoder.SetIndent("", "  ")
			return encoder.Encode(recoveredJSON{saved.Path, saved.Scans, saved.RowGroups, saved.CutOff})
		}
		_, err = fmt.Fprintf(c.OutOrStdout(), "%s: %d scans in %d row group(s); %d bytes of an incomplete one cut off\n", saved.Path, saved.Scans, saved.RowGroups, saved.CutOff)
		return err
	}
	return c
}

// recoveredJSON is what was saved of a recording, for programs.
type recoveredJSON struct {
	File          string `json:"file"`
	ScanCount     int64  `json:"scan_count"`
	RowGroupCount int    `json:"row_group_count"`
	CutOffBytes   int64  `json:"cut_off_bytes"`
}
