package show

import (
	"bytes"
	"strings"
	"testing"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestBucketsOfOneTimeStandInOneLine adds buckets as a stream gives them, two of one channel and then two of the other; one has none at the third
// time.
func TestBucketsOfOneTimeStandInOneLine(t *testing.T) {
	var out bytes.Buffer
	b := NewBuckets(&out, []string{"a", "b"})
	for _, each := range []struct {
		channel string
		second  int64
	}{{"a", 1}, {"a", 2}, {"b", 1}, {"b", 2}, {"a", 3}, {"a", 4}, {"b", 4}, {"b", 5}} {
		if err := b.Add(&ampledgerv1.Bucket{Channel: each.channel, FirstWallNanos: each.second * 1e9, ReadingCount: 1}); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Flush(); err != nil {
		t.Fatal(err)
	}
	var cells []int
	for _, line := range strings.Split(strings.TrimSpace(out.String()), "\n")[1:] {
		cells = append(cells, strings.Count(line, "±"))
	}
	if got, want := len(cells), 5; got != want || cells[0] != 2 || cells[1] != 2 || cells[2] != 1 || cells[3] != 2 || cells[4] != 1 {
		t.Errorf("cells in the lines: %v\n%s", cells, out.String())
	}
}
