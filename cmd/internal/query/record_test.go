package query

import (
	"bytes"
	"context"
	"encoding/binary"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/daemon/recording"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// record makes a recording of five scans and gives its path.
func record(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	r, err := recording.New(recording.Settings{Folder: folder}, recording.Told{})
	if err != nil {
		t.Fatal(err)
	}
	track, err := r.Track(&recorded.Head{Device: "adc0", Description: &plugin.Description{Inputs: []*plugin.Input{{Name: "a", Unit: "A"}}}})
	if err != nil {
		t.Fatal(err)
	}
	track.Frame(&scan.Frame{Clock: scan.Clock{Sequence: 7, Period: 1e6}, Count: 5, Columns: []scan.Column{{Values: []float64{1, 2, 3, 4, 5}}}})
	ended, end := context.WithCancel(t.Context())
	end()
	if err := r.Run(ended); err != nil {
		t.Fatal(err)
	}
	found, err := filepath.Glob(filepath.Join(folder, "*.parquet"))
	if err != nil || len(found) != 1 {
		t.Fatal(found, err)
	}
	return found[0]
}

// footerOf is the length of a Parquet file's footer with its tail.
func footerOf(text []byte) int { return int(binary.LittleEndian.Uint32(text[len(text)-8:])) + 8 }

func TestRecordRecover(t *testing.T) {
	path := record(t)
	cut := path + ".part"
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(cut, append(text[:len(text)-footerOf(text)], "xyz"...), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args   []string
		before func() error
		status int
		want   string
	}{
		{[]string{"recover"}, nil, 2, "record: record recover takes 1 argument(s), 0 given: record recover FILE [flags]\n"},
		{[]string{"recover", path}, nil, 1, "record: " + path + ": does not end in .parquet.part\n"},
		{[]string{"recover", cut}, nil, 1, "record: " + cut + ": " + path + " is there already\n"},
		{[]string{"recover", cut}, func() error { return os.Remove(path) }, 0, path + ": 5 scans in 1 row group(s); 3 bytes of an incomplete one cut off\n"},
		{[]string{"recover", "--json", cut}, func() error { return os.Rename(path, cut) }, 0, "\"scan_count\": 5,\n  \"row_group_count\": 1,\n  \"cut_off_bytes\": 0\n"},
	} {
		if c.before != nil {
			if err := c.before(); err != nil {
				t.Fatal(err)
			}
		}
		var out bytes.Buffer
		if status := cli.Run(t.Context(), recordCommand(), c.args, &out, &out); status != c.status || !strings.Contains(out.String(), c.want) {
			t.Errorf("%v: status %d, %q, want %d, %q", c.args, status, out.String(), c.status, c.want)
		}
	}
}
