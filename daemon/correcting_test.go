package daemon_test

import (
	"database/sql"
	"errors"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// idle is the rig with no current through it.
func idle() string {
	return strings.NewReplacer("duty: [{seconds: 1, contactor_open: true}, {seconds: 3600, mean_amperes: 40, amplitude_amperes: 30, period_seconds: 5}]",
		"duty: [{seconds: 360000, hold_amperes: 0}]", "duration_seconds: 36000", "duration_seconds: 360000").Replace(simulated(36000, ""))
}

// shuntZero declares a window without current and gives what the shunt read.
func shuntZero(t *testing.T, s *served) *ampledgerv1.ChannelZero {
	t.Helper()
	response, err := s.Commissioning.CaptureZero(s.ctx, &ampledgerv1.CaptureZeroRequest{Conductor: "pack", DurationNanos: 10e9, By: "A. Meter", Force: true})
	if err != nil {
		t.Fatal(err)
	}
	return response.GetChannels()[0]
}

// TestACorrectionOutlivesTheDaemon finds the shunt's offset of 0.3 A, applies it and starts the daemon again: it is still in force, and what the estimator knew
// before is not used. A change that was recorded and never told in the ledger is told at the next start. On another resistance it is in force no more.
func TestACorrectionOutlivesTheDaemon(t *testing.T) {
	c, _ := load(t, idle())
	s := serve(t, c)
	z := shuntZero(t, s)
	if math.Abs(z.GetFound().GetMeanAmperes()-0.3) > 0.02 || z.GetRecordSequence() == 0 {
		t.Fatalf("the zero is 0.3 A, found %v", z)
	}
	applied, err := s.Commissioning.ApplyCalibration(s.ctx, &ampledgerv1.ApplyCalibrationRequest{RecordSequence: z.GetRecordSequence(), By: "A. Meter", Force: true})
	if err != nil {
		t.Fatal(err)
	}
	s.stop()

	s = serve(t, c)
	if left := shuntZero(t, s).GetFound(); math.Abs(left.GetMeanAmperes()) > 0.02 || left.GetInForceSequence() != applied.GetRecord().GetRecordSequence() {
		t.Errorf("after the restart: %v", left)
	}
	s.stop()
	if got := changesOf(t, c.State, nil); len(got) != 1 || !strings.HasPrefix(got[0], store.RecordName(applied.GetRecord())) {
		t.Errorf("the ledger says %q", got)
	}

	untold := &ampledgerv1.CommissioningRecord{
		Conductor: "pack", Channel: "shunt", RefersToSequence: applied.GetRecord().GetRecordSequence(),
		Body: &ampledgerv1.CommissioningRecord_Reverted{Reverted: &ampledgerv1.Change{Before: applied.GetRecord().GetApplied().GetAfter()}},
	}
	changesOf(t, c.State, untold)
	s = serve(t, c)
	if back := shuntZero(t, s).GetFound(); math.Abs(back.GetMeanAmperes()-0.3) > 0.02 {
		t.Errorf("reverted while the daemon was down: %v", back)
	}
	s.stop()
	again := &ampledgerv1.CommissioningRecord{
		Conductor: "pack", Channel: "shunt", RefersToSequence: z.GetRecordSequence(),
		Body: &ampledgerv1.CommissioningRecord_Applied{Applied: applied.GetRecord().GetApplied()},
	}
	if got := changesOf(t, c.State, again); len(got) != 2 || !strings.Contains(got[1], "in force since this start of the daemon") {
		t.Errorf("the ledger says %q", got)
	}

	s = serve(t, otherwise(t, c))
	if z := shuntZero(t, s).GetFound(); z.GetMeanAmperes() < 0.2 || z.GetInForceSequence() != 0 {
		t.Errorf("on another resistance: %v", z)
	}
	conductors, err := s.Readings.ListConductors(s.ctx, &ampledgerv1.ListConductorsRequest{})
	if err != nil || conductors.GetConductors()[0].GetChannels()[0].GetInForceSequence() != 0 {
		t.Errorf("in force: %v, %v", conductors, err)
	}
	events, err := s.Abuse.ListEvents(s.ctx, &ampledgerv1.ListEventsRequest{})
	if err != nil || !strings.Contains(events.String(), "not in force any more") {
		t.Errorf("nobody was told: %v", err)
	}
	s.stop()
	if got := changesOf(t, c.State, nil); len(got) != 4 || !strings.Contains(got[3], "not in force any more") {
		t.Errorf("the ledger says %q", got)
	}
}

// otherwise is the configuration with another resistance.
func otherwise(t *testing.T, c *config.Config) *config.Config {
	t.Helper()
	other, _ := load(t, strings.Replace(idle(), "shunt: {resistance_ohms: 0.0001, gain: 50}, noise", "shunt: {resistance_ohms: 0.00011, gain: 50}, noise", 1))
	other.State = c.State
	return other
}

// TestInForceAgain goes to another resistance, stays there for a second start, and comes back for two: the ledger says once that the change is not in force
// any more, and once that it is again. On the other resistance once more, it says so again.
func TestInForceAgain(t *testing.T) {
	c, _ := load(t, idle())
	s := serve(t, c)
	z := shuntZero(t, s)
	applied, err := s.Commissioning.ApplyCalibration(s.ctx, &ampledgerv1.ApplyCalibrationRequest{RecordSequence: z.GetRecordSequence(), Force: true})
	if err != nil {
		t.Fatal(err)
	}
	s.stop()
	record, other := applied.GetRecord().GetRecordSequence(), otherwise(t, c)
	for i, start := range []struct {
		on      *config.Config
		inForce uint64
	}{{other, 0}, {other, 0}, {c, record}, {c, record}, {other, 0}} {
		s = serve(t, start.on)
		if got := shuntZero(t, s).GetFound().GetInForceSequence(); got != start.inForce {
			t.Errorf("start %d: record %d is in force, want %d", i+1, got, start.inForce)
		}
		s.stop()
	}
	name := store.RecordName(applied.GetRecord())
	want := []string{name + ": zero", name + ": not in force any more", name + ": in force again", name + ": not in force any more"}
	holdPrefixes(t, changesOf(t, c.State, nil), want)
}

// TestALostChangeIsNotInForce finds the record of the newest change lost: the change before it does not come back, an event tells it at each start, and the
// ledger once.
func TestALostChangeIsNotInForce(t *testing.T) {
	c, _ := load(t, idle())
	s := serve(t, c)
	z := shuntZero(t, s)
	applied, err := s.Commissioning.ApplyCalibration(s.ctx, &ampledgerv1.ApplyCalibrationRequest{RecordSequence: z.GetRecordSequence(), Force: true})
	if err != nil {
		t.Fatal(err)
	}
	s.stop()
	lost := &ampledgerv1.CommissioningRecord{RecordSequence: applied.GetRecord().GetRecordSequence() + 1, RecordSha256: applied.GetRecord().GetRecordSha256()}
	lose(t, c.State, lost)
	for range 2 {
		s = serve(t, c)
		if z := shuntZero(t, s).GetFound(); z.GetMeanAmperes() < 0.2 || z.GetInForceSequence() != 0 {
			t.Errorf("in force: %v", z)
		}
		events, err := s.Abuse.ListEvents(s.ctx, &ampledgerv1.ListEventsRequest{})
		if err != nil || !strings.Contains(events.String(), "the record is lost") {
			t.Errorf("nobody was told: %v", err)
		}
		s.stop()
	}
	holdPrefixes(t, changesOf(t, c.State, nil), []string{
		store.RecordName(applied.GetRecord()) + ": zero", store.RecordName(lost) + ": zero", store.RecordName(lost) + ": not in force any more: the record is lost",
	})
}

// lose makes what recovery leaves of a change whose record was lost: a mark in its place, and the ledger's entry.
func lose(t *testing.T, state string, lost *ampledgerv1.CommissioningRecord) {
	t.Helper()
	path := filepath.Join(state, store.FileName)
	raw, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	_, err = raw.ExecContext(t.Context(), "INSERT INTO commissioning VALUES (?, '', '', 'lost', 0, '', '', NULL, x'')", lost.GetRecordSequence())
	if err := errors.Join(err, raw.Close()); err != nil {
		t.Fatal(err)
	}
	on, err := store.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	_, err = on.Append(t.Context(), store.Batch{Postings: []store.Posting{{Entry: store.Entry{
		Kind: store.Commissioned, Conductor: "pack", Channel: "shunt", Device: "simulated", Reason: store.RecordName(lost) + ": zero applied",
	}}}})
	if err := errors.Join(err, on.Close()); err != nil {
		t.Fatal(err)
	}
}

func holdPrefixes(t *testing.T, got, want []string) {
	t.Helper()
	if !slices.EqualFunc(got, want, strings.HasPrefix) {
		t.Errorf("the ledger says\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// changesOf gives the ledger's entries of changes of a daemon that has ended, whose store must be sound, and adds a record if one is given.
func changesOf(t *testing.T, state string, record *ampledgerv1.CommissioningRecord) (reasons []string) {
	t.Helper()
	on, err := store.Open(filepath.Join(state, store.FileName))
	if err != nil {
		t.Fatal(err)
	}
	found, verified := on.Verify(t.Context(), nil)
	entries, err := on.Entries(t.Context(), 0, store.Filter{Kinds: []store.Kind{store.Commissioned}}, 100)
	if record != nil {
		_, appended := on.AppendRecord(t.Context(), record)
		err = errors.Join(err, appended)
	}
	if err := errors.Join(err, verified, on.Close()); err != nil || len(found.Faults) > 0 {
		t.Fatalf("%v, %+v", err, found)
	}
	for _, e := range entries {
		reasons = append(reasons, e.Reason)
	}
	return reasons
}
