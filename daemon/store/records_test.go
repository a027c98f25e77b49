package store_test

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func point(channel string, amperes float64) *ampledgerv1.CommissioningRecord {
	return &ampledgerv1.CommissioningRecord{
		Conductor: "pack", Channel: channel, WallNanos: 7, By: "Ω", Note: "by hand",
		Body: &ampledgerv1.CommissioningRecord_Point{Point: &ampledgerv1.CalibrationPoint{ReferenceAmperes: amperes, ReferenceUncertaintyAmperes: 0.1}},
	}
}

func applied(refersTo uint64) *ampledgerv1.CommissioningRecord {
	return &ampledgerv1.CommissioningRecord{
		Conductor: "pack", Channel: "shunt", RefersToSequence: refersTo, Body: &ampledgerv1.CommissioningRecord_Applied{Applied: &ampledgerv1.Change{}},
	}
}

func appendRecord(t *testing.T, s *store.Store, record *ampledgerv1.CommissioningRecord) *ampledgerv1.CommissioningRecord {
	t.Helper()
	return must(s.AppendRecord(t.Context(), record))(t)
}

// commissioned gives the entry that says from when on a record counts.
func commissioned(record *ampledgerv1.CommissioningRecord) store.Entry {
	e := bare(store.Commissioned)
	e.Reason = store.RecordName(record) + ": zero applied"
	return e
}

// TestRecords stores records, which are numbered, come back as they were, and carry the sum of what was given.
func TestRecords(t *testing.T) {
	s := storetest.OpenMemory(t)
	given := []*ampledgerv1.CommissioningRecord{point("shunt", 1), point("hall", 2), point("shunt", 3), applied(3)}
	var want []*ampledgerv1.CommissioningRecord
	for i, record := range given {
		given := record
		if at := record.GetRefersToSequence(); at != 0 {
			record = proto.CloneOf(record)
			record.RestsOnSha256 = [][]byte{want[at-1].GetRecordSha256()}
		}
		sum := sha256.Sum256(must(proto.MarshalOptions{Deterministic: true}.Marshal(record))(t))
		got := appendRecord(t, s, given)
		record = proto.CloneOf(record)
		record.RecordSequence, record.RecordSha256 = uint64(i+1), sum[:]
		if diff := cmp.Diff(record, got, protocmp.Transform()); diff != "" {
			t.Errorf("stored (-want +got):\n%s", diff)
		}
		want = append(want, record)
	}
	for name, row := range map[string]struct {
		after  uint64
		filter store.RecordFilter
		limit  int
		want   []*ampledgerv1.CommissioningRecord
	}{
		"all":           {0, store.RecordFilter{}, 10, want},
		"a page":        {1, store.RecordFilter{Conductor: "pack"}, 2, want[1:3]},
		"of a channel":  {0, store.RecordFilter{Channel: "hall"}, 10, want[1:2]},
		"of some kinds": {0, store.RecordFilter{Kinds: []string{"zero", "applied"}}, 10, want[3:]},
		"of another":    {0, store.RecordFilter{Conductor: "other"}, 10, nil},
	} {
		got := must(s.Records(t.Context(), row.after, row.filter, row.limit))(t)
		if diff := cmp.Diff(row.want, got, protocmp.Transform()); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
	newest := must(s.NewestRecord(t.Context(), store.RecordFilter{Channel: "shunt", Kinds: []string{"point"}}))(t)
	if newest.GetRecordSequence() != 3 || must(s.Record(t.Context(), 2))(t).GetChannel() != "hall" {
		t.Errorf("the newest point is %d", newest.GetRecordSequence())
	}
	if _, err := s.Record(t.Context(), 5); !isOneOf(err, store.ErrNoRecord) {
		t.Errorf("a record that is not there: %v", err)
	}
	if _, err := s.NewestRecord(t.Context(), store.RecordFilter{Channel: "fused"}); !isOneOf(err, store.ErrNoRecord) {
		t.Errorf("of a channel without any: %v", err)
	}
}

// TestRecordsStand finds that neither the API nor SQL takes what must never be, nor changes what stands.
func TestRecordsStand(t *testing.T) {
	s := storetest.OpenMemory(t)
	stored := appendRecord(t, s, point("shunt", 1))
	for name, record := range map[string]*ampledgerv1.CommissioningRecord{
		"stored already": stored, "of no channel": point("", 1), "without a word": {Conductor: "pack", Channel: "shunt"}, "on one that is to come": applied(2),
	} {
		if _, err := s.AppendRecord(t.Context(), record); !isOneOf(err, store.ErrInvalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
	const insert = "INSERT INTO commissioning VALUES (%d, 'pack', 'shunt', '%s', 1, '', '', NULL, x'')"
	for _, query := range []string{
		"UPDATE commissioning SET note = ''", "DELETE FROM commissioning", fmt.Sprintf(insert, 1, "point"), fmt.Sprintf(insert, 3, "point"),
		fmt.Sprintf(insert, 2, "wish"), "INSERT OR REPLACE " + strings.TrimPrefix(fmt.Sprintf(insert, 1, "point"), "INSERT "),
	} {
		if _, err := s.Writer().Exec(query); err == nil {
			t.Errorf("%s is taken", query)
		}
	}
}

// TestVerifyRecords tampers with records: the chain's entry tells on one that was in force, and the table on the rest.
func TestVerifyRecords(t *testing.T) {
	for name, row := range map[string]struct{ damage, want string }{
		"sound":             {"SELECT 1", ""},
		"another body":      {"UPDATE commissioning SET body = (SELECT body FROM commissioning WHERE record_sequence = 1), channel = 'shunt', kind = 'point', wall_nanos = 7, stated_by = 'Ω', note = 'by hand', refers_to = NULL WHERE record_sequence = 2", "names record 2 of commissioning, which is not there as it was"},
		"another hand":      {"UPDATE commissioning SET stated_by = 'else' WHERE record_sequence = 1", "record 1 of commissioning differs from its columns"},
		"one gone":          {"DELETE FROM commissioning WHERE record_sequence = 1", "record 1 of commissioning is missing or out of place; 2 comes next"},
		"one in force gone": {"DELETE FROM commissioning WHERE record_sequence = 2", "names record 2 of commissioning, which is not there as it was"},
		"a point of it": {"UPDATE commissioning SET body = (SELECT body FROM commissioning WHERE record_sequence = 3) WHERE record_sequence = 1",
			"record 2 of commissioning rests on records that are not there as they were"},
		"a body that is none": {"UPDATE commissioning SET body = x'ff' WHERE record_sequence = 1", "record 1 of commissioning differs from its columns"},
	} {
		t.Run(name, func(t *testing.T) {
			s := must(store.OpenMemory())(t)
			defer s.Close()
			appendRecord(t, s, point("shunt", 1))
			append1(t, s, commissioned(appendRecord(t, s, applied(1))))
			appendRecord(t, s, point("shunt", 99))
			must(s.Writer().Exec("DROP TRIGGER commissioning_never_changes; DROP TRIGGER commissioning_never_goes; " + row.damage))(t)
			found := must(s.Verify(t.Context(), nil))(t)
			var faults []string
			for _, fault := range found.Faults {
				faults = append(faults, fault.String())
			}
			if got := strings.Join(faults, "; "); row.want == "" != (got == "") || !strings.Contains(got, row.want) {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}

// TestVerifyRestsOn changes each record that one in force rests on, whichever way it names it, and marks one of two as lost and changes the other.
func TestVerifyRestsOn(t *testing.T) {
	for name, row := range map[string]struct{ lost, changed, faults uint64 }{
		"sound": {0, 0, 0}, "a point": {0, 1, 1}, "another": {0, 2, 1}, "the one found under": {0, 3, 2}, "one lost": {1, 0, 0}, "one lost, the other changed": {1, 2, 1},
	} {
		t.Run(name, func(t *testing.T) {
			s := must(store.OpenMemory())(t)
			defer s.Close()
			appendRecord(t, s, point("shunt", 1))
			appendRecord(t, s, point("shunt", 2))
			appendRecord(t, s, applied(0))
			appendRecord(t, s, &ampledgerv1.CommissioningRecord{Conductor: "pack", Channel: "shunt", Body: &ampledgerv1.CommissioningRecord_Calibration{
				Calibration: &ampledgerv1.Calibration{PointSequence: []uint64{1, 2}, InForceSequence: 3},
			}})
			change := applied(4)
			change.GetApplied().InForceBeforeSequence = 3
			append1(t, s, commissioned(appendRecord(t, s, change)))
			must(s.Writer().Exec("DROP TRIGGER commissioning_never_changes"))(t)
			must(s.Writer().Exec("UPDATE commissioning SET conductor = '', channel = '', kind = 'lost', body = x'' WHERE record_sequence = ?", row.lost))(t)
			other := point("shunt", 99)
			if row.changed == 3 {
				other = applied(0)
				other.GetApplied().ExpiresWallNanos = 1
			}
			must(s.Writer().Exec("UPDATE commissioning SET body = ? WHERE record_sequence = ?", must(proto.Marshal(other))(t), row.changed))(t)
			if found := must(s.Verify(t.Context(), nil))(t); found.FaultCount != row.faults {
				t.Errorf("%d faults, want %d: %v", found.FaultCount, row.faults, found.Faults)
			}
		})
	}
}

// TestRestsOnNothingSaid finds a record sound that says nothing of what it rests on: it is of before any did.
func TestRestsOnNothingSaid(t *testing.T) {
	s := storetest.OpenMemory(t)
	appendRecord(t, s, point("shunt", 1))
	must(s.Writer().Exec("INSERT INTO commissioning VALUES (2, 'pack', 'shunt', 'applied', 0, '', '', 1, ?)", must(proto.Marshal(applied(1)))(t)))(t)
	if found := must(s.Verify(t.Context(), nil))(t); found.FaultCount > 0 {
		t.Errorf("%v", found.Faults)
	}
}

// TestRecoverRecords takes records over; one that is lost, or that damage made another, says so in its place, and the file passes Verify.
func TestRecoverRecords(t *testing.T) {
	for name, row := range map[string]struct {
		damage string
		lines  []string
		kinds  string
	}{
		"all there": {"SELECT 1", []string{"3 records of commissioning up to 3 are taken over"}, "point point applied"},
		"one gone":  {"DELETE FROM commissioning WHERE record_sequence = 2", []string{"2 records of commissioning up to 3 are taken over", "1 records of commissioning are lost"}, "point  applied"},
		"one spoilt": {"UPDATE commissioning SET channel = 'other' WHERE record_sequence = 1",
			[]string{"2 records of commissioning up to 3 are taken over", "1 records of commissioning are lost"}, " point applied"},
		"the newest, which the ledger names": {"DELETE FROM commissioning WHERE record_sequence >= 2",
			[]string{"1 records of commissioning up to 3 are taken over", "2 records of commissioning are lost"}, "point  "},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "ampledger.db")
			s := must(store.Open(path))(t)
			appendRecord(t, s, point("shunt", 1))
			appendRecord(t, s, point("shunt", 2))
			append1(t, s, commissioned(appendRecord(t, s, applied(1))))
			must(s.Writer().Exec("DROP TRIGGER commissioning_never_changes; DROP TRIGGER commissioning_never_goes; " + row.damage))(t)
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			write(t, path, func(content []byte) []byte { clear(content[:100]); return content }(must(os.ReadFile(path))(t)))
			got := must(store.Recover(t.Context(), path, path+".out", nil))(t)
			for _, want := range row.lines {
				if all := strings.Join(got.Lines, "\n"); !strings.Contains(all, want) {
					t.Errorf("%q is not told:\n%s", want, all)
				}
			}
			var kinds []string
			for _, record := range must(storetest.OpenAt(t, path+".out").Records(t.Context(), 0, store.RecordFilter{}, 10))(t) {
				kinds = append(kinds, store.RecordKind(record))
			}
			if all := strings.Join(kinds, " "); all != row.kinds {
				t.Errorf("records: %q, want %q", all, row.kinds)
			}
		})
	}
}

// TestCommissionedEntries refuses entries of a change that name no record, or count.
func TestCommissionedEntries(t *testing.T) {
	s := storetest.OpenMemory(t)
	sound := commissioned(appendRecord(t, s, applied(0)))
	for name, spoil := range map[string]func(*store.Entry){
		"no record":   func(e *store.Entry) { e.Reason = "zero applied" },
		"half a sum":  func(e *store.Entry) { e.Reason = e.Reason[:40] },
		"it counts":   func(e *store.Entry) { e.ReadingCount = 1 },
		"with a mark": func(e *store.Entry) { e.Mark.By = "x" },
	} {
		e := sound
		spoil(&e)
		if _, err := s.Append(t.Context(), store.Batch{Postings: []store.Posting{{Entry: e}}}); !isOneOf(err, store.ErrInvalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
	append1(t, s, entry("pack", "shunt", 0))
	if at := append1(t, s, sound); at != 2 {
		t.Errorf("stands at %d", at)
	}
	if got := must(s.Balance(t.Context(), "pack", "shunt", nil, nil))(t); got.EntryCount != 1 {
		t.Errorf("%d entries count", got.EntryCount)
	}
}
