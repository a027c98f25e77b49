package store_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

// tamperable gives a store with six entries, the fourth with three gap rows, and two events, and takes its guards away.
func tamperable(t *testing.T) *store.Store {
	t.Helper()
	s := must(store.OpenMemory())(t)
	t.Cleanup(func() { s.Close() })
	for n := range 6 {
		var gaps []store.Gap
		if n == 3 {
			gaps = []store.Gap{gap(1, "lost"), gap(2), gap(3)}
		}
		append1(t, s, entry("pack", []string{"shunt", "hall"}[n%2], n), gaps...)
	}
	for range 2 {
		must(s.Append(t.Context(), store.Batch{Events: batch2(t).Events}))(t)
	}
	for _, trigger := range must(triggers(s))(t) {
		must(s.Writer().Exec("DROP TRIGGER " + trigger))(t)
	}
	must(s.Writer().Exec("PRAGMA foreign_keys = 0"))(t)
	return s
}

func triggers(s *store.Store) (names []string, err error) {
	rows, err := s.Writer().Query("SELECT name FROM sqlite_schema WHERE type = 'trigger'")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		names = append(names, name)
	}
	return names, rows.Err()
}

const (
	changed     = "is not as it was chained: it, its gap rows or its place was changed, or it was put there"
	unlinked    = "does not follow on the one before, which is at fault itself"
	uncheckable = "cannot be checked: what it was chained to is missing"
)

// TestVerify changes what is stored by SQL, as somebody with the file could, and wants each fault at its place and no other.
func TestVerify(t *testing.T) {
	insertion := "INSERT INTO entries SELECT %s, conductor, channel, kind, device, epoch, first_sequence, %s FROM entries WHERE entry_sequence = 6"
	rest := "last_sequence, from_wall_nanos, to_wall_nanos, from_monotonic_nanos, to_monotonic_nanos, duration_nanos, out_microcoulombs, " +
		"in_microcoulombs, offset_microcoulombs, adjustment_microcoulombs, square_ampere_seconds, reading_count, missing_count, " +
		"not_finite_count, saturated_count, out_of_range_count, time_repeated_count, time_backwards_count, auxiliary_missing_count, " +
		"lost_count, gap_count, gap_nanos, gap_assumed_microcoulombs, gap_bound_microcoulombs, noise_square_coulombs, zero_coulombs, " +
		"gain_ratio, estimator, generation, reason, stored_coulombs, stored_uncertainty_coulombs, stated_by, note, configuration_sha256, chain"
	swap := func(a, b int) string {
		return fmt.Sprintf("UPDATE entries SET entry_sequence = -1 WHERE entry_sequence = %d; UPDATE entries SET entry_sequence = %d "+
			"WHERE entry_sequence = %d; UPDATE entries SET entry_sequence = %d WHERE entry_sequence = -1", a, a, b, b)
	}
	for name, row := range map[string]struct {
		query string
		want  []string
	}{
		"nothing":                      {"SELECT 1", nil},
		"charge changed by 1 µC":       {"UPDATE entries SET out_microcoulombs = out_microcoulombs + 1 WHERE entry_sequence = 3", []string{"entry 3: " + changed}},
		"the last bit of a double":     {"UPDATE entries SET gain_ratio = 0.0010000000000000002 WHERE entry_sequence = 1", []string{"entry 1: " + changed}},
		"a word changed":               {"UPDATE entries SET reason = 'Interval' WHERE entry_sequence = 6", []string{"entry 6: " + changed}},
		"two entries changed":          {"UPDATE entries SET lost_count = 0 WHERE entry_sequence IN (2, 3)", []string{"entry 2: " + changed, "entry 3: " + unlinked}},
		"only a chain changed":         {"UPDATE entries SET chain = zeroblob(32) WHERE entry_sequence = 3", []string{"entry 3: " + changed}},
		"a chain taken away":           {"UPDATE entries SET chain = NULL WHERE entry_sequence = 3", []string{"entry 3: has no chain"}},
		"moved to another channel":     {"UPDATE entries SET channel = 'hall' WHERE entry_sequence = 1", []string{"entry 1: " + changed}},
		"made a mark":                  {"UPDATE entries SET kind = 'mark', stored_coulombs = 0, stored_uncertainty_coulombs = 1, stated_by = '', note = '' WHERE entry_sequence = 2", []string{"entry 2: " + changed}},
		"a gap row changed":            {"UPDATE gaps SET bound_microcoulombs = 98 WHERE position = 2", []string{"entry 4: " + changed}},
		"a gap row's cause changed":    {`UPDATE gaps SET causes = '["Lost"]' WHERE position = 1`, []string{"entry 4: " + changed}},
		"the last gap row removed":     {"DELETE FROM gaps WHERE position = 3", []string{"entry 4: " + changed}},
		"a gap row in the way removed": {"DELETE FROM gaps WHERE position = 2", []string{"entry 4: " + changed, "entry 4, gap 2: is missing or out of place"}},
		"gap rows reordered":           {"UPDATE gaps SET position = 9 WHERE position = 1; UPDATE gaps SET position = 1 WHERE position = 2; UPDATE gaps SET position = 2 WHERE position = 9", []string{"entry 4: " + changed}},
		"a gap row put in": {"INSERT INTO gaps SELECT 5, 1, before_sequence, after_sequence, from_wall_nanos, from_monotonic_nanos, duration_nanos, " +
			"assumed_net_microcoulombs, bound_microcoulombs, causes FROM gaps WHERE position = 1", []string{"entry 5: " + changed}},
		"a gap row of no entry": {"INSERT INTO gaps SELECT 9, 1, before_sequence, after_sequence, from_wall_nanos, from_monotonic_nanos, duration_nanos, " +
			"assumed_net_microcoulombs, bound_microcoulombs, causes FROM gaps WHERE position = 1", []string{"entry 9, gap 1: gap row of an entry that is not there", "1 rows refer to nothing"}},
		"an entry removed":         {"DELETE FROM entries WHERE entry_sequence = 3", []string{"entry 3: is missing", "entry 4: " + uncheckable}},
		"two entries removed":      {"DELETE FROM entries WHERE entry_sequence IN (2, 3)", []string{"entry 2: is missing, and all up to 3", "entry 4: " + uncheckable}},
		"the first entry removed":  {"DELETE FROM entries WHERE entry_sequence = 1", []string{"entry 1: is missing", "entry 2: " + uncheckable}},
		"the newest entry removed": {"DELETE FROM entries WHERE entry_sequence = 6", []string{"device adc0: entries reach sequence 2999, they reached 3599: newest entries were cut off or changed"}},
		"removed and closed up": {"DELETE FROM entries WHERE entry_sequence = 3; UPDATE entries SET entry_sequence = entry_sequence - 1 " +
			"WHERE entry_sequence > 3; UPDATE gaps SET entry_sequence = 3", []string{"entry 3: " + changed, "entry 4: " + unlinked, "entry 5: " + unlinked}},
		"neighbours swapped":        {swap(2, 3), []string{"entry 2: " + changed, "entry 3: " + unlinked, "entry 4: " + unlinked}},
		"one put behind the newest": {fmt.Sprintf(insertion, "7", rest), []string{"entry 7: " + changed}},
		"one put far behind":        {fmt.Sprintf(insertion, "9", rest), []string{"entry 7: is missing, and all up to 8", "entry 9: " + uncheckable}},
		"one put before the first":  {fmt.Sprintf(insertion, "-5", rest), []string{"entry -5: stands before the first place", "entry -5: " + changed, "entry 1: " + unlinked}},
		"sequences could come back": {"UPDATE devices SET used_next = 5", []string{"device adc0: entries reach sequence 3599, which could be used again from 5"}},
		"no device":                 {"DELETE FROM devices", []string{"device adc0: entries reach sequence 3599, which could be used again from 0"}},
		"an event removed":          {"DELETE FROM events WHERE log_sequence = 1", []string{"event 1: is missing or out of place; 2 comes next"}},
		"an event's column":         {"UPDATE events SET conductor = 'other' WHERE log_sequence = 2", []string{"event 2: differs from its columns"}},
		"an event spoilt":           {"UPDATE events SET event = x'ff' WHERE log_sequence = 2", []string{"event 2: differs from its columns"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := tamperable(t)
			must(s.Writer().Exec(row.query))(t)
			found := must(s.Verify(t.Context(), nil))(t)
			var got []string
			for _, fault := range found.Faults {
				got = append(got, fault.String())
			}
			if diff := cmp.Diff(row.want, got); diff != "" || found.FaultCount != uint64(len(got)) {
				t.Errorf("%d faults (-want +got):\n%s", found.FaultCount, diff)
			}
		})
	}
}

// TestVerifySums lets the index by which balances are summed lose an entry, which the entries themselves do not show.
func TestVerifySums(t *testing.T) {
	path := filled(t)
	do(`DROP INDEX entries_of_channel; CREATE INDEX entries_of_channel ON entries (conductor, channel, from_wall_nanos) WHERE entry_sequence <> 7;
		PRAGMA writable_schema = 1; UPDATE sqlite_schema SET sql = replace(sql, ' WHERE entry_sequence <> 7', '')`)(t, path)
	if s, err := store.Open(path); !isOneOf(err, store.ErrDamaged) {
		t.Errorf("it is opened: %v, %v", s, err)
	}
	s := must(store.OpenReader(path))(t)
	defer s.Close()
	found := must(s.Verify(t.Context(), nil))(t)
	if len(found.Faults) != 2 || !strings.HasPrefix(found.Faults[0].Text, "balance of pack/shunt: 49 entries") ||
		!strings.Contains(found.Faults[1].Text, "row 7 missing from index entries_of_channel") {
		t.Errorf("faults %v", found.Faults)
	}
}

// TestVerifyManyFaults lists the first thousand and counts all.
func TestVerifyManyFaults(t *testing.T) {
	s := tamperable(t)
	var batch store.Batch
	for n := range 2000 {
		batch.Postings = append(batch.Postings, store.Posting{Entry: entry("pack", "shunt", n)})
	}
	must(s.Append(t.Context(), batch))(t)
	must(s.Writer().Exec("UPDATE entries SET lost_count = 0"))(t)
	var told []uint64
	found := must(s.Verify(t.Context(), func(done, of uint64) { told = append(told, done, of) }))(t)
	if found.FaultCount != 2006 || len(found.Faults) != 1000 || found.EntryCount != 2006 || !cmp.Equal(told, []uint64{1000, 2006, 2000, 2006}) {
		t.Errorf("%d faults, %d listed, %d entries, progress %v", found.FaultCount, len(found.Faults), found.EntryCount, told)
	}
}

// TestChainHead follows the chain's end: it depends on every entry and on nothing else.
func TestChainHead(t *testing.T) {
	s, other := storetest.OpenMemory(t), storetest.OpenMemory(t)
	if head := must(s.ChainHead(t.Context()))(t); head != (store.Head{}) {
		t.Errorf("an empty ledger's head is %v", head)
	}
	var heads []store.Head
	for n := range 3 {
		append1(t, s, entry("pack", "shunt", n), gap(1, "lost"))
		heads = append(heads, must(s.ChainHead(t.Context()))(t))
	}
	// In one transaction, and beside other things, it is the same.
	var batch store.Batch
	for n := range 3 {
		batch.Postings = append(batch.Postings, store.Posting{Entry: entry("pack", "shunt", n), Gaps: []store.Gap{gap(1, "lost")}})
	}
	batch.Events = batch2(t).Events
	must(other.Append(t.Context(), batch))(t)
	for i, want := range heads {
		if got := must(other.ChainAt(t.Context(), uint64(i+1)))(t); got != want || want.EntrySequence != uint64(i+1) {
			t.Errorf("chain is %v, want %v", got, want)
		}
	}
	if _, err := s.ChainAt(t.Context(), 4); err == nil {
		t.Error("an entry that is not there has a chain")
	}
}
