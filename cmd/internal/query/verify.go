package query

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/daemon/store"
)

// defaultState is where a daemon keeps its state unless it is told otherwise.
const defaultState = "state"

// verifyLedger reads a ledger's file and lists what is wrong with it.
func verifyLedger(ctx context.Context, c *cobra.Command, args []string, flags chargeFlags) error {
	expected, err := parseHead(flags.head)
	if err != nil {
		return err
	}
	path, err := ledgerFile(args)
	if err != nil {
		return err
	}
	ledger, err := store.OpenReader(path)
	if err != nil {
		return err
	}
	found, err := verify(ctx, c, ledger, expected)
	if err = errors.Join(err, ledger.Close()); err != nil {
		return err
	}
	if err := writeVerification(c, path, found, *flags.json); err != nil {
		return err
	}
	if found.FaultCount > 0 {
		return fmt.Errorf("%s: %d fault(s)%s", path, found.FaultCount, whose(found))
	}
	return nil
}

// whose says so where the ledger is not at fault.
func whose(found *store.Verification) string {
	if found.WaveformFaultCount < found.FaultCount {
		return ""
	}
	return ", all of waveforms: ledger and log are sound"
}

// verify verifies all, and the chain at a head that was written down, if one is given.
func verify(ctx context.Context, c *cobra.Command, ledger *store.Reader, expected *store.Head) (*store.Verification, error) {
	progress := cli.NewProgress(c.ErrOrStderr())
	defer progress.Done()
	found, err := ledger.Verify(ctx, func(done, of uint64) {
		progress.Update(func() string { return fmt.Sprintf("%d of %d entries", done, of) })
	})
	if err != nil || expected == nil {
		return found, err
	}
	got, err := ledger.ChainAt(ctx, expected.EntrySequence)
	switch {
	case errors.Is(err, store.ErrNoEntries):
		found.Add(store.Fault{EntrySequence: int64(expected.EntrySequence), Text: "is missing, and its chain was written down"})
		return found, nil
	case err == nil && got != *expected:
		found.Add(store.Fault{EntrySequence: int64(expected.EntrySequence), Text: "has another chain than was written down: the ledger was written anew"})
	}
	return found, err
}

// ledgerFile gives the file meant: one that is named, or the one in a state folder.
func ledgerFile(args []string) (string, error) {
	path := defaultState
	if len(args) > 0 {
		path = args[0]
	}
	info, err := os.Stat(path)
	if err != nil {
		return "", cli.Usagef("no ledger there: %w", err)
	}
	if info.IsDir() {
		path = filepath.Join(path, store.FileName)
	}
	return path, nil
}

// parseHead reads SEQUENCE:SHA256; nil = not given.
func parseHead(text string) (*store.Head, error) {
	if text == "" {
		return nil, nil
	}
	sequence, sum, found := strings.Cut(text, ":")
	number, err := strconv.ParseUint(sequence, 10, 63)
	chain, faulty := hex.DecodeString(sum)
	if !found || err != nil || faulty != nil || len(chain) != 32 {
		return nil, cli.Usagef("--head %q is no SEQUENCE:SHA256 such as a statement gives", text)
	}
	return &store.Head{EntrySequence: number, Chain: [32]byte(chain)}, nil
}

// verificationJSON is what was found, for programs.
type verificationJSON struct {
	File       string      `json:"file"`
	EntryCount uint64      `json:"entry_count"`
	EventCount uint64      `json:"event_count"`
	Head       headJSON    `json:"head"`
	FaultCount uint64      `json:"fault_count"`
	OfWaveform uint64      `json:"waveform_fault_count"` // among them
	Faults     []faultJSON `json:"faults"`
}

type headJSON struct {
	EntrySequence uint64 `json:"entry_sequence"`
	ChainSHA256   string `json:"chain_sha256"`
}

type faultJSON struct {
	EntrySequence int64  `json:"entry_sequence"`
	GapSequence   int64  `json:"gap_sequence"`
	LogSequence   int64  `json:"log_sequence"`
	Waveform      bool   `json:"waveform"`
	EventID       string `json:"event_id"`
	Text          string `json:"text"`
}

func writeVerification(c *cobra.Command, path string, found *store.Verification, asJSON bool) error {
	to := c.OutOrStdout()
	if asJSON {
		out := verificationJSON{path, found.EntryCount, found.EventCount, headJSON{found.Head.EntrySequence, hex.EncodeToString(found.Head.Chain[:])},
			found.FaultCount, found.WaveformFaultCount, []faultJSON{}}
		for _, f := range found.Faults {
			out.Faults = append(out.Faults, faultJSON{f.EntrySequence, f.GapPosition, f.LogSequence, f.Waveform, f.EventID, f.Text})
		}
		encoder := json.NewEncoder(to)
		encoder.SetIndent("", "  ")
		return encoder.Encode(out)
	}
	for _, fault := range found.Faults {
		fmt.Fprintln(to, fault)
	}
	if more := found.FaultCount - uint64(len(found.Faults)); more > 0 {
		fmt.Fprintf(to, "and %d more\n", more)
	}
	if found.FaultCount == 0 {
		fmt.Fprintln(to, "nothing is wrong")
	}
	_, err := fmt.Fprintf(to, "%d entries, %d events; the chain ends with %v\n", found.EntryCount, found.EventCount, found.Head)
	return err
}
