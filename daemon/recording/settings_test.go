package recording

import (
	"testing"
	"time"
)

func TestSettings(t *testing.T) {
	filled := Settings{Folder: "x"}
	want := Settings{"x", 10 * time.Second, 1 << 16, 3, time.Hour, 64 << 20, 1 << 30}
	if err := filled.Check(); err != nil || filled != want {
		t.Errorf("%+v, %v; want %+v", filled, err, want)
	}
	wrong := Settings{RowGroup: time.Millisecond, RowGroupScans: -1, QueuedRowGroups: 65, RotateAfter: 25 * time.Hour, RotateBytes: 1, BudgetBytes: -1}
	err := wrong.Check()
	text := `recording: no folder
recording: row group 1ms is not within 100ms to 1h0m0s
recording: scans in a row group -1 is not within 1 to 1048576
recording: queued row groups 65 is not within 1 to 64
recording: rotation 25h0m0s is not within 0s to 24h0m0s
recording: bytes in a file 1 is not within 65536 to 1099511627776
recording: budget -1 is not within 0 to 1125899906842624
recording: a budget of -1 bytes is less than two files of 1`
	if err == nil || err.Error() != text {
		t.Errorf("faults\n%v\nwant\n%s", err, text)
	}
	if _, err := New(Settings{Folder: t.TempDir(), RowGroup: time.Hour, RotateAfter: time.Minute}, Told{}); err == nil {
		t.Error("a rotation before the first row group was taken")
	}
}
