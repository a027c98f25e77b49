package show

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Statement writes a statement as a table, one column a channel, the conductor's own marked.
func Statement(to io.Writer, s *ampledgerv1.GetStatementResponse) error {
	table := tabwriter.NewWriter(to, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(to, "Charge of %s\n", s.GetConductor())
	row(table, "", s, func(a *ampledgerv1.Account) string {
		if a.GetChannel() == s.GetChargeFrom() {
			return a.GetChannel() + " *"
		}
		return a.GetChannel()
	})
	for _, line := range lines {
		row(table, line.name, s, line.of)
	}
	if err := table.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(to, "* the conductor's charge is taken from this channel. 1 Ah = 3600 C. Net = out - in, positive out of the pack.\n"+
		"  Where an estimator corrects the charge, what is from zero contains what is from gain.")
	return remarks(to, s)
}

func row(table io.Writer, name string, s *ampledgerv1.GetStatementResponse, of func(*ampledgerv1.Account) string) {
	cells := []string{fmt.Sprintf("%-34s", name)}
	for _, a := range s.GetAccounts() {
		cells = append(cells, of(a))
	}
	fmt.Fprintln(table, strings.Join(cells, "\t")+"\t")
}

// lines are the rows of a statement.
var lines = []struct {
	name string
	of   func(*ampledgerv1.Account) string
}{
	{"out of the pack, Ah", func(a *ampledgerv1.Account) string { return AmpereHours(a.GetOutMicrocoulombs()) }},
	{"into the pack, Ah", func(a *ampledgerv1.Account) string { return AmpereHours(a.GetInMicrocoulombs()) }},
	{"net, Ah", func(a *ampledgerv1.Account) string { return AmpereHours(a.GetNetMicrocoulombs()) }},
	{"adjusted for what was learned later", func(a *ampledgerv1.Account) string { return AmpereHours(a.GetAdjustmentMicrocoulombs()) }},
	{"balance, Ah", func(a *ampledgerv1.Account) string { return AmpereHours(a.GetBalanceMicrocoulombs()) }},
	{"  95 % interval, ± Ah", uncertainty((*ampledgerv1.ChargeUncertainty).GetInterval95Coulombs)},
	{"  standard uncertainty, Ah", uncertainty((*ampledgerv1.ChargeUncertainty).GetCombinedCoulombs)},
	{"    from noise", uncertainty((*ampledgerv1.ChargeUncertainty).GetNoiseCoulombs)},
	{"    from gain", uncertainty((*ampledgerv1.ChargeUncertainty).GetGainCoulombs)},
	{"    from zero", uncertainty((*ampledgerv1.ChargeUncertainty).GetZeroCoulombs)},
	{"    from gaps", uncertainty((*ampledgerv1.ChargeUncertainty).GetGapCoulombs)},
	{"net had no offset been subtracted", func(a *ampledgerv1.Account) string {
		return AmpereHours(a.GetNetMicrocoulombs() + a.GetOffsetMicrocoulombs())
	}},
	{"  what the offset would have cost", func(a *ampledgerv1.Account) string { return AmpereHours(a.GetOffsetMicrocoulombs()) }},
	{"time", func(a *ampledgerv1.Account) string { return Duration(a.GetDurationNanos()) }},
	{"readings", func(a *ampledgerv1.Account) string { return fmt.Sprint(a.GetReadingCount()) }},
	{"gaps", func(a *ampledgerv1.Account) string { return fmt.Sprint(a.GetGaps().GetGapCount()) }},
}

func uncertainty(part func(*ampledgerv1.ChargeUncertainty) float64) func(*ampledgerv1.Account) string {
	return func(a *ampledgerv1.Account) string { return coulombsToAmpereHours(part(a.GetUncertainty())) }
}

// remarks writes what a reader must not overlook: gaps and readings that were not used.
func remarks(to io.Writer, s *ampledgerv1.GetStatementResponse) error {
	for _, a := range s.GetAccounts() {
		if a.GetReadingCount() == 0 {
			fmt.Fprintf(to, "%s: not one usable reading: nothing is known of its charge\n", a.GetChannel())
		}
		if g := a.GetGaps(); g.GetGapCount() > 0 {
			fmt.Fprintf(to, "%s: %d gap(s), %s in all; %s Ah assumed in them, off by at most %s Ah\n", a.GetChannel(), g.GetGapCount(),
				Duration(g.GetDurationNanos()), AmpereHours(g.GetAssumedNetMicrocoulombs()), AmpereHours(g.GetBoundMicrocoulombs()))
		}
		if text := unusable(a.GetUnusable()); text != "" {
			fmt.Fprintf(to, "%s: not integrated: %s\n", a.GetChannel(), text)
		}
		for _, g := range a.GetLongestGaps() {
			if _, err := fmt.Fprintf(to, "  gap of %s at %s, sequence %d to %d (%s): %s Ah assumed, ± %s Ah\n", Duration(g.GetDurationNanos()),
				Clock(g.GetFromWallNanos()), g.GetBeforeSequence(), g.GetAfterSequence(), strings.Join(g.GetCauses(), ", "),
				AmpereHours(g.GetAssumedNetMicrocoulombs()), AmpereHours(g.GetBoundMicrocoulombs())); err != nil {
				return err
			}
		}
	}
	return nil
}

func unusable(u *ampledgerv1.UnusableCounts) string {
	var parts []string
	for _, each := range []struct {
		count uint64
		name  string
	}{
		{u.GetMissingCount(), "missing"}, {u.GetNotFiniteCount(), "not finite"}, {u.GetSaturatedCount(), "saturated"},
		{u.GetOutOfRangeCount(), "out of range"}, {u.GetTimeRepeatedCount(), "time repeated"}, {u.GetTimeBackwardsCount(), "time backwards"},
		{u.GetAuxiliaryMissingCount(), "supply or temperature missing"}, {u.GetLostCount(), "scans lost"},
	} {
		if each.count > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", each.count, each.name))
		}
	}
	return strings.Join(parts, ", ")
}
