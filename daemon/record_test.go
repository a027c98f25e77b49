package daemon_test

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestARecordingReplaysAsItWas records a live run and takes the recording through the pipeline again: the same readings, and the same charge to
// the microcoulomb before any offset.
func TestARecordingReplaysAsItWas(t *testing.T) {
	c, folder := load(t, simulated(4, "")+"record: {row_group_seconds: 0.2, readings: true}\n")
	s := serve(t, c)
	follow(t, s)
	lived := statementOf(t, s)
	s.stop()
	left, err := filepath.Glob(filepath.Join(folder, "state", "recordings", "*"))
	if err != nil || len(left) != 3 { // the device's, and the readings of two channels
		t.Fatalf("recorded %v (%v)", left, err)
	}
	text := simulated(4, "")
	from := strings.Index(text, "    driver: simulate")
	to := strings.Index(text, "conductors:")
	text = text[:from] + "    driver: replay\n    with: {file: " + recordingOf(t, left, "rig") + ", speed: 0}\n" + text[to:]
	again := processed(t, text).statements[0].GetAccounts()[0]
	if got, want := again.GetNetMicrocoulombs()+again.GetOffsetMicrocoulombs(), lived.GetNetMicrocoulombs()+lived.GetOffsetMicrocoulombs(); absolute(float64(got-want)) > 2 ||
		again.GetReadingCount() != lived.GetReadingCount() {
		t.Errorf("%d readings, %d µC; the live run had %d, %d µC", again.GetReadingCount(), got, lived.GetReadingCount(), want)
	}
	if left, err := os.ReadDir(filepath.Join(folder, "state", "recordings")); err != nil || len(left) != 3 {
		t.Errorf("%v (%v)", left, err)
	}
}

// recordingOf gives the one file of a device.
func recordingOf(t *testing.T, files []string, device string) string {
	t.Helper()
	for _, file := range files {
		if strings.HasPrefix(filepath.Base(file), device+"_") && strings.HasSuffix(file, ".parquet") {
			return file
		}
	}
	t.Fatalf("none of %v is of %s", files, device)
	return ""
}

// TestWhatARigFedReplays records what a rig feeds, with faults marked, and takes the recording through the pipeline again: the same readings count.
func TestWhatARigFedReplays(t *testing.T) {
	c, folder := load(t, fed("live", "")+"record: {row_group_seconds: 0.2}\n")
	s := serve(t, c)
	f, rig := feedOf(t, s, "alpha"), &bench{first: 1000, faults: rand.New(rand.NewPCG(1, 2))}
	for range 20 {
		if _, err := f.Exchange(rig.frame(100)); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
	lived := statementOf(t, s)
	s.stop()
	left, err := filepath.Glob(filepath.Join(folder, "state", "recordings", "*"))
	if err != nil {
		t.Fatal(err)
	}
	text := fed("live", "")
	from, to := strings.Index(text, "    driver: feed"), strings.Index(text, "conductors:")
	text = text[:from] + "    driver: replay\n    with: {file: " + recordingOf(t, left, "bench") + ", speed: 0}\n" + text[to:]
	again := processed(t, text).statements[0].GetAccounts()[0]
	if again.GetReadingCount() != lived.GetReadingCount() || again.GetNetMicrocoulombs() != lived.GetNetMicrocoulombs() || lived.GetUnusable().GetSaturatedCount() == 0 {
		t.Errorf("replayed %d readings, %d µC; fed were %d, %d µC, %v", again.GetReadingCount(), again.GetNetMicrocoulombs(),
			lived.GetReadingCount(), lived.GetNetMicrocoulombs(), lived.GetUnusable())
	}
}
