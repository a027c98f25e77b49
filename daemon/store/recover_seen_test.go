package store_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/store"
)

// seen makes a file with five events, two of them acknowledged, and all that Recover leaves behind, and damages it by SQL and in its header.
func seen(t *testing.T, damage string) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "ampledger.db")
	s := must(store.Open(path))(t)
	append1(t, s, entry("pack", "shunt", 0))
	logEvents(t, s, "a", "b", "c", "d", "a")
	for _, name := range []string{"d", "b"} {
		must(s.Acknowledge(t.Context(), store.Acknowledgement{EventID: name, WallNanos: 7, By: "Ω", Note: "of " + name}))(t)
	}
	err := errors.Join(
		s.PutWaveforms(t.Context(), []store.WaveformPart{waveform("a", 1, 0, 6), waveform("b", 1, 4, 6)}),
		s.PutClock(t.Context(), store.Clock{BootID: "boot", BootNanos: 1, WallNanos: 2}),
		s.PutSnapshot(t.Context(), store.Snapshot{Conductor: "pack", Plugin: "biasfilter", State: []byte("state")}), s.Close())
	if err != nil {
		t.Fatal(err)
	}
	do(damage)(t, path)
	write(t, path, func(content []byte) []byte { clear(content[:100]); return content }(must(os.ReadFile(path))(t)))
	return path
}

// TestRecoverAcknowledgements takes over who has seen what and counts what is left behind; what cannot stand in the log is kept aside.
func TestRecoverAcknowledgements(t *testing.T) {
	const left = ": 2 waveforms, 10 frames of waveforms, 1 estimators' snapshots, 1 clocks"
	const inDoubt = "1 acknowledgements are of events that are lost, or in doubt, and are kept aside in salvaged_acknowledgements"
	for name, row := range map[string]struct {
		damage      string
		stand       []string
		aside       string
		lines       []string
		saved, lost uint64
	}{
		"rows read twice":   {"CREATE TABLE twice AS SELECT * FROM waveform_frames; CREATE TABLE again AS SELECT * FROM acknowledgements", []string{"b", "d"}, "", []string{"2 acknowledgements are taken over; nothing can tell whether others are lost"}, 5, 0},
		"its event is lost": {"DROP TRIGGER events_never_go; DELETE FROM events WHERE event_id = 'b'", []string{"d"}, "b7Ωof b", []string{inDoubt}, 4, 1},
		"said otherwise too": {"CREATE TABLE other (a TEXT, b INTEGER, c TEXT, d TEXT); INSERT INTO other VALUES ('b', 7, 'Ω', 'of b'), ('d', 8, 'else', '')",
			[]string{"b"}, "d7Ωof d,d8else", []string{"2 acknowledgements are of events that are lost, or in doubt, and are kept aside in salvaged_acknowledgements"}, 5, 0},
		"never said so": {"DROP TRIGGER acknowledgements_never_change; UPDATE acknowledgements SET note = CAST(x'ff' AS TEXT) WHERE event_id = 'd'",
			[]string{"b"}, "d7Ω\xff", []string{inDoubt}, 5, 0},
	} {
		t.Run(name, func(t *testing.T) {
			out := filepath.Join(t.TempDir(), "out.db")
			got := must(store.Recover(t.Context(), seen(t, row.damage), out, nil))(t)
			if got.SeenCount != uint64(len(row.stand)) || got.EventCount != row.saved || got.LostCount != row.lost {
				t.Errorf("got %+v", got)
			}
			for _, line := range append(row.lines, "left behind, since nothing can tell whether they are as they were written (those dropped earlier may be among them)"+left) {
				if !slices.Contains(got.Lines, line) {
					t.Errorf("%q is not among %q", line, got.Lines)
				}
			}
			s := must(store.Open(out))(t)
			defer s.Close()
			checkSeen(t, s, row.stand, row.aside)
		})
	}
}

// checkSeen looks at what came of it.
func checkSeen(t *testing.T, s *store.Store, stand []string, aside string) {
	t.Helper()
	var want []store.Acknowledgement
	for _, name := range stand {
		want = append(want, store.Acknowledgement{EventID: name, WallNanos: 7, By: "Ω", Note: "of " + name})
	}
	if diff := cmp.Diff(want, must(s.Acknowledgements(t.Context(), []string{"a", "b", "c", "d"}))(t)); diff != "" {
		t.Errorf("acknowledgements (-want +got):\n%s", diff)
	}
	for query, want := range map[string]string{
		"SELECT coalesce(group_concat(event_id || wall_nanos || stated_by || note), '') FROM salvaged_acknowledgements":   aside,
		"SELECT (SELECT count(*) FROM waveforms) + (SELECT count(*) FROM waveform_frames) + (SELECT count(*) FROM clock)": "0",
	} {
		var got string
		if err := s.Readers().QueryRow(query).Scan(&got); err != nil || got != want {
			t.Errorf("%s: %q, %v, want %q", query, got, err, want)
		}
	}
	if _, err := s.Acknowledge(t.Context(), store.Acknowledgement{EventID: "c", By: "me"}); err != nil {
		t.Errorf("going on: %v", err)
	}
}

// TestRecoverNotOurs leaves a file alone that has rows like acknowledgements and no other of ours.
func TestRecoverNotOurs(t *testing.T) {
	path := filepath.Join(t.TempDir(), "other.db")
	write(t, path, nil)
	do("CREATE TABLE people (name TEXT, year INTEGER, town TEXT, trade TEXT); INSERT INTO people VALUES ('a', 1, 'b', 'c')")(t, path)
	if got, err := store.Recover(t.Context(), path, path+".out", nil); !isOneOf(err, store.ErrForeign) {
		t.Error(fmt.Sprint(got), err)
	}
}
