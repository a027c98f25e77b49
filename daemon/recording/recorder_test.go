package recording

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestWhatThereIsNoRoomForIsToldAndMissingFromTheSequences(t *testing.T) {
	settings := quiet(t.TempDir())
	settings.RowGroupScans, settings.QueuedRowGroups = 100, 2
	var lost []Lost
	recorder, err := New(settings, Told{OnLost: func(l Lost) { lost = append(lost, l) }})
	if err != nil {
		t.Fatal(err)
	}
	track, err := recorder.Track(head())
	if err != nil {
		t.Fatal(err)
	}
	for first := uint64(0); first < 500; first += 50 {
		track.Frame(marked(first, 50)) // room is for 300 of them: nothing is written yet
	}
	recorder.writeAll(false)
	track.Frame(marked(500, 70))
	if err := recorder.finish(); err != nil {
		t.Fatal(err)
	}
	if want := []Lost{{Device: "adc_0", First: 300, Last: 499, Scans: 200}}; !slices.Equal(lost, want) {
		t.Errorf("told %+v, want %+v", lost, want)
	}
	got, _ := replayed(t, settings.Folder)
	want := asReplayed(append(rowsOf(marked(0, 300)), rowsOf(marked(500, 70))...))
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%.1000s", diff)
	}
}

func TestAFrameThatFitsInPart(t *testing.T) {
	settings := quiet(t.TempDir())
	settings.RowGroupScans, settings.QueuedRowGroups = 100, 1
	var lost []Lost
	recorder, err := New(settings, Told{OnLost: func(l Lost) { lost = append(lost, l) }})
	if err != nil {
		t.Fatal(err)
	}
	track, err := recorder.Track(head())
	if err != nil {
		t.Fatal(err)
	}
	track.Frame(marked(7, 250))
	if err := recorder.finish(); err != nil {
		t.Fatal(err)
	}
	if want := []Lost{{Device: "adc_0", First: 207, Last: 256, Scans: 50}}; !slices.Equal(lost, want) {
		t.Errorf("told %+v, want %+v", lost, want)
	}
}

func TestTime(t *testing.T) {
	folder := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		var written []string
		begun := time.Now()
		settings := Settings{Folder: folder, RotateAfter: 25 * time.Second}
		r := start(t, settings, Told{OnWritten: func(_ string, through uint64) { written = append(written, fmt.Sprint(through, " ", time.Since(begun))) }})
		track := r.track(t)
		for n := range uint64(5) {
			track.Frame(marked(n*100, 100))
			time.Sleep(7 * time.Second)
		}
		time.Sleep(time.Minute) // the device is silent
		complete, open := files(t, folder, "*.parquet"), files(t, folder, "*.part")
		if err := r.stop(); err != nil {
			t.Fatal(err)
		}
		want := []string{"199 10s", "299 20s", "499 30s"}
		if !slices.Equal(written, want) {
			t.Errorf("written through %v, want %v", written, want)
		}
		if len(complete) != 1 || len(open) != 0 {
			t.Errorf("complete %v, open %v; want that a file is completed after its time without a frame", complete, open)
		}
	})
	got, _ := replayed(t, folder)
	if !slices.Equal(got, asReplayed(rowsOf(marked(0, 500)))) {
		t.Errorf("%d rows", len(got))
	}
}

func TestAnotherDescriptionBeginsAnotherFile(t *testing.T) {
	settings := quiet(t.TempDir())
	r := start(t, settings, Told{})
	track := r.track(t)
	track.Frame(marked(0, 10))
	if again := r.track(t); again != track {
		t.Error("the same description gives another track")
	}
	other := head()
	other.Description.Inputs[0].VoltsPerCode = 2e-6
	changed, err := r.Track(other)
	if err != nil {
		t.Fatal(err)
	}
	changed.Frame(marked(10, 10))
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	found := files(t, settings.Folder, "*")
	if len(found) != 2 {
		t.Fatalf("files %v, want two", found)
	}
	for i, scale := range []float64{1e-6, 2e-6} {
		if _, description := replayed(t, found[i]); description.Inputs[0].VoltsPerCode != scale {
			t.Errorf("%s has a scale of %v, want %v", found[i], description.Inputs[0].VoltsPerCode, scale)
		}
	}
	other.Description.Inputs[1].Name = "scan_wall_nanos"
	if _, err := r.Track(other); err == nil || !strings.HasPrefix(err.Error(), "recording of adc_0: the input") {
		t.Errorf("error %v, want that the name is taken", err)
	}
}

func TestACodeThatIsNoneIsToldAsLost(t *testing.T) {
	settings := quiet(t.TempDir())
	var lost []Lost
	r := start(t, settings, Told{OnLost: func(l Lost) { lost = append(lost, l) }})
	f := marked(5, 3)
	f.Columns[0].Values[1] = 1.5
	r.track(t).Frame(f)
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	if len(lost) != 1 || lost[0].First != 5 || lost[0].Scans != 3 || lost[0].Why.Error() != `input "shunt_code": 1.5 is no code` {
		t.Errorf("told %+v", lost)
	}
	if left := files(t, settings.Folder, "*"); len(left) != 0 {
		t.Errorf("files %v, want none", left)
	}
}

// TestAFailureOfTheDiskIsTriedAgain takes the folder away and gives it back.
func TestAFailureOfTheDiskIsTriedAgain(t *testing.T) {
	settings := quiet(filepath.Join(t.TempDir(), "r"))
	settings.RowGroupScans = 100
	faults := 0
	recorder, err := New(settings, Told{OnFault: func(error) { faults++ }, OnLost: func(l Lost) { t.Errorf("lost %+v", l) }})
	if err != nil {
		t.Fatal(err)
	}
	track, err := recorder.Track(head())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(settings.Folder); err != nil {
		t.Fatal(err)
	}
	track.Frame(marked(0, 150))
	recorder.writeAll(false)
	if faults == 0 {
		t.Error("no fault was told")
	}
	if err := os.Mkdir(settings.Folder, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := recorder.finish(); err != nil {
		t.Fatal(err)
	}
	if got, _ := replayed(t, settings.Folder); !slices.Equal(got, asReplayed(rowsOf(marked(0, 150)))) {
		t.Errorf("%d rows, want 150", len(got))
	}
}

// TestAFailedWriteIsWrittenOver fails in the middle of a row group, by a file that cannot be written to, and goes on with one that can.
func TestAFailedWriteIsWrittenOver(t *testing.T) {
	settings := quiet(t.TempDir())
	settings.RowGroupScans = 100
	recorder, err := New(settings, Told{})
	if err != nil {
		t.Fatal(err)
	}
	track, err := recorder.Track(head())
	if err != nil {
		t.Fatal(err)
	}
	track.Frame(marked(0, 100))
	recorder.writeAll(false)
	disk := track.file.disk
	if track.file.disk, err = os.Open(track.file.path); err != nil {
		t.Fatal(err)
	}
	track.Frame(marked(100, 100))
	recorder.writeAll(false)
	if err := track.file.disk.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := disk.WriteAt([]byte("half a row group"), track.file.size); err != nil {
		t.Fatal(err)
	}
	track.file.disk = disk
	if err := recorder.finish(); err != nil {
		t.Fatal(err)
	}
	if got, _ := replayed(t, settings.Folder); !slices.Equal(got, asReplayed(rowsOf(marked(0, 200)))) {
		t.Errorf("%d rows, want 200", len(got))
	}
}

func TestAFrameAllocatesNothing(t *testing.T) {
	settings := quiet(t.TempDir())
	settings.RowGroupScans = 1000
	recorder, err := New(settings, Told{})
	if err != nil {
		t.Fatal(err)
	}
	track, err := recorder.Track(head())
	if err != nil {
		t.Fatal(err)
	}
	f := marked(0, 1000)
	turn := func() {
		track.Frame(f)
		f.Sequence += 1000
		track.next(false)
		track.done()
	}
	turn()
	if n := testing.AllocsPerRun(100, turn); n != 0 {
		t.Errorf("%v allocations for a frame", n)
	}
}
