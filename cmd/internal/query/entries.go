package query

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// kindPrefix stands before the kinds' names in the API.
const kindPrefix = "ENTRY_KIND_"

// kindNames lists the kinds of entries as people name them.
func kindNames() string {
	var names []string
	for number := 1; number < len(ampledgerv1.EntryKind_name); number++ {
		names = append(names, kindName(ampledgerv1.EntryKind(number)))
	}
	return strings.Join(names, ", ")
}

func kindName(kind ampledgerv1.EntryKind) string {
	return strings.ToLower(strings.TrimPrefix(kind.String(), kindPrefix))
}

func parseKinds(names []string) (kinds []ampledgerv1.EntryKind, err error) {
	for _, name := range names {
		kind, known := ampledgerv1.EntryKind_value[kindPrefix+strings.ToUpper(name)]
		if !known || kind == 0 {
			return nil, cli.Usagef("--kind %q is none of %s", name, kindNames())
		}
		kinds = append(kinds, ampledgerv1.EntryKind(kind))
	}
	return kinds, nil
}

// entries lists the ledger.
func entries(c *cobra.Command, args []string, request *ampledgerv1.ListEntriesRequest, flags chargeFlags) error {
	var err error
	if request.Kinds, err = parseKinds(flags.kinds); err != nil {
		return err
	}
	return connected(c, func(ctx context.Context, daemon *client.Client) error {
		if request.Conductor, err = watched(ctx, c, daemon, args); err != nil {
			return err
		}
		return listEntries(ctx, c, daemon, request, *flags.json)
	})
}

func listEntries(ctx context.Context, c *cobra.Command, daemon *client.Client, request *ampledgerv1.ListEntriesRequest, asJSON bool) error {
	progress := cli.NewProgress(c.ErrOrStderr())
	defer progress.Done()
	count := 0
	for {
		page, err := entryPage(ctx, daemon, request)
		if err != nil {
			return err
		}
		for _, entry := range page.GetEntries() {
			if err := writeEntry(c, entry, asJSON); err != nil {
				return err
			}
		}
		count += len(page.GetEntries())
		progress.Update(func() string { return fmt.Sprintf("%d entries", count) })
		if request.PageToken = page.GetNextPageToken(); request.PageToken == "" {
			return nil
		}
	}
}

// entryPage asks for one page.
func entryPage(ctx context.Context, daemon *client.Client, request *ampledgerv1.ListEntriesRequest) (*ampledgerv1.ListEntriesResponse, error) {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	return daemon.Charge.ListEntries(ctx, request)
}

func writeEntry(c *cobra.Command, entry *ampledgerv1.Entry, asJSON bool) error {
	if asJSON {
		return show.JSONLine(c.OutOrStdout(), entry)
	}
	_, err := fmt.Fprintln(c.OutOrStdout(), entryLine(entry))
	return err
}

// entryLine writes an entry on one line, its place in the ledger last.
func entryLine(e *ampledgerv1.Entry) string {
	parts := []string{
		show.Clock(e.GetFromWallNanos()), fmt.Sprintf("%-13s", kindName(e.GetKind())), e.GetConductor() + "/" + e.GetChannel(), entrySays(e),
	}
	if gaps := e.GetGaps(); gaps.GetGapCount() > 0 {
		parts = append(parts, fmt.Sprintf("%d gap(s) of %s, ± %s Ah%s", gaps.GetGapCount(), show.Duration(gaps.GetDurationNanos()),
			show.AmpereHours(gaps.GetBoundMicrocoulombs()), causes(e.GetLongestGaps())))
	}
	if e.GetReason() != "" && e.GetReason() != kindName(e.GetKind()) {
		parts = append(parts, e.GetReason())
	}
	return strings.Join(append(parts, fmt.Sprintf("#%d", e.GetEntrySequence())), "  ")
}

// entrySays writes what an entry counts or holds.
func entrySays(e *ampledgerv1.Entry) string {
	switch e.GetKind() {
	case ampledgerv1.EntryKind_ENTRY_KIND_MARK:
		s := e.GetStored()
		return fmt.Sprintf("stored %.4f ± %.4f Ah, says %q: %s", s.GetStoredCoulombs()/3600, s.GetStandardUncertaintyCoulombs()/3600, s.GetBy(), show.Plain(s.GetNote()))
	case ampledgerv1.EntryKind_ENTRY_KIND_CONFIGURATION:
		return fmt.Sprintf("SHA-256 %x", e.GetConfigurationSha256())
	case ampledgerv1.EntryKind_ENTRY_KIND_COMMISSIONING:
		return "from sequence " + fmt.Sprint(e.GetFirstSequence())
	}
	text := fmt.Sprintf("%s  out %s Ah  in %s Ah", show.Duration(e.GetDurationNanos()), show.AmpereHours(e.GetOutMicrocoulombs()),
		show.AmpereHours(e.GetInMicrocoulombs()))
	if moved := e.GetAdjustmentMicrocoulombs(); moved != 0 {
		text += fmt.Sprintf("  adjusted by %s Ah", show.AmpereHours(moved))
	}
	return text
}

// causes lists what gaps were for, each once.
func causes(gaps []*ampledgerv1.Gap) string {
	var all []string
	for _, gap := range gaps {
		for _, cause := range gap.GetCauses() {
			if !slices.Contains(all, cause) {
				all = append(all, cause)
			}
		}
	}
	if len(all) == 0 {
		return ""
	}
	return " (" + strings.Join(all, ", ") + ")"
}
