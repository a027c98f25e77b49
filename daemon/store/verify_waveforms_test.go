package store_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/store"
)

// withWaveforms gives a store of three waveforms in frames of ten readings: one has the sequences 3 to 56, another 43 to 96, so that they
// share frames, and a third, which is still open, holds nothing yet. The ledger reaches beyond them and counts so many readings lost; below
// 0 it is empty.
func withWaveforms(t *testing.T, lost int) *store.Store {
	t.Helper()
	s := must(store.OpenMemory())(t)
	t.Cleanup(func() { s.Close() })
	if e := entry("pack", "shunt", 0); lost >= 0 {
		e.Unusable.Lost = uint64(lost)
		append1(t, s, e)
		e.Epoch, e.Unusable.Lost = 2, 1000 // of which the waveforms are not
		append1(t, s, e)
	}
	logEvents(t, s, "a", "b", "c")
	none := waveform("c", 1, 20, 1)
	none.State, none.Kept, none.Frames = store.WaveformOpen, nil, nil
	if err := s.PutWaveforms(t.Context(), []store.WaveformPart{waveform("a", 1, 0, 6), waveform("b", 1, 4, 6), none}); err != nil {
		t.Fatal(err)
	}
	must(s.Acknowledge(t.Context(), store.Acknowledgement{EventID: "b", By: "me"}))(t)
	return s
}

// TestVerifyWaveforms takes readings away, and what goes with them, as somebody with the file could: it is the waveforms' fault, not the
// ledger's, and no fault where the ledger knows that the readings never came, or does not know yet.
func TestVerifyWaveforms(t *testing.T) {
	const remove, uncounted = "DELETE FROM waveform_frames WHERE first_sequence ", "DROP TRIGGER waveform_frames_uncount; "
	const a, b = "waveform of event a: its readings ", "waveform of event b: its readings "
	for name, row := range map[string]struct {
		query string
		lost  int
		want  []string
	}{
		"nothing":                 {"SELECT 1", 0, nil},
		"all":                     {remove + ">= 0", 1000, []string{a + "3 to 56 are missing", b + "43 to 96 are missing"}},
		"the first":               {remove + "= 0", 1000, []string{a + "3 to 9 are missing"}},
		"the last":                {remove + "= 90", 1000, []string{b + "90 to 96 are missing"}},
		"one in the middle":       {remove + "= 20", 9, []string{a + "20 to 29 are missing"}},
		"two of both":             {remove + "IN (40, 50)", 19, []string{a + "40 to 56 are missing", b + "43 to 59 are missing"}},
		"one that never came":     {remove + "= 20", 10, nil},
		"before the ledger knows": {remove + "= 20", -1, nil},
		"of another time base":    {"DROP TRIGGER waveform_frames_never_change; UPDATE waveform_frames SET epoch = 2 WHERE first_sequence = 70", 0, []string{b + "70 to 79 are missing"}},
		"dropped":                 {remove + "< 40; UPDATE waveforms SET state = 'dropped' WHERE event_id = 'a'", 0, nil},
		"behind the count's back": {uncounted + remove + "= 70", 0, []string{"waveforms: 10 frames of 100 bytes were counted, 9 of 90 are there", b + "70 to 79 are missing"}},
		"a frame cut short":       {"DROP TRIGGER waveform_frames_never_change; UPDATE waveform_frames SET frame = x'00' WHERE first_sequence = 70", 0, []string{"waveforms: 10 frames of 100 bytes were counted, 10 of 91 are there"}},
		"the count":               {"DELETE FROM waveform_totals", 0, []string{"waveforms: 0 frames of 0 bytes were counted, 10 of 100 are there"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := withWaveforms(t, row.lost)
			must(s.Writer().Exec(row.query))(t)
			found := must(s.Verify(t.Context(), nil))(t)
			var got []string
			for _, fault := range found.Faults {
				got = append(got, fault.String())
			}
			if diff := cmp.Diff(row.want, got); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
			if found.WaveformFaultCount != found.FaultCount {
				t.Errorf("%d faults, of waveforms %d", found.FaultCount, found.WaveformFaultCount)
			}
		})
	}
}

// TestVerifyAcknowledgements lets an acknowledgement be of no event: that is a fault of the log.
func TestVerifyAcknowledgements(t *testing.T) {
	s := withWaveforms(t, 0)
	must(s.Writer().Exec("DROP TRIGGER acknowledgements_never_change; UPDATE acknowledgements SET event_id = 'x'"))(t)
	found := must(s.Verify(t.Context(), nil))(t)
	if len(found.Faults) != 1 || found.WaveformFaultCount != 0 || found.Faults[0].String() != `acknowledgement of event "x", which is not there` {
		t.Errorf("faults %v", found.Faults)
	}
}
