package show

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Buckets writes reduced readings of several channels side by side, a line for each stretch of time. A line is written when each channel
// has its bucket, or when those that have none there have gone beyond it.
type Buckets struct {
	to       io.Writer
	channels []string
	lines    []bucketLine // that wait, by time
	started  bool
}

// bucketLine is the buckets that begin at one time, by channel.
type bucketLine struct {
	from int64 // wall clock, ns
	of   map[string]*ampledgerv1.Bucket
}

// mostLines is how many lines may wait for a channel.
const mostLines = 100

// NewBuckets makes a writer for these channels, in this order.
func NewBuckets(to io.Writer, channels []string) *Buckets {
	return &Buckets{to: to, channels: channels}
}

// Add takes the next bucket.
func (b *Buckets) Add(bucket *ampledgerv1.Bucket) error {
	from := bucket.GetFirstWallNanos()
	at, known := slices.BinarySearchFunc(b.lines, from, func(l bucketLine, t int64) int { return cmp.Compare(l.from, t) })
	if !known {
		b.lines = slices.Insert(b.lines, at, bucketLine{from, map[string]*ampledgerv1.Bucket{}})
	}
	b.lines[at].of[bucket.GetChannel()] = bucket
	for len(b.lines) > 0 && (b.complete() || len(b.lines) > mostLines) {
		if err := b.writeFirst(); err != nil {
			return err
		}
	}
	return nil
}

// complete tells that nothing more comes for the first line.
func (b *Buckets) complete() bool {
	for _, channel := range b.channels {
		if !slices.ContainsFunc(b.lines, func(l bucketLine) bool { return l.of[channel] != nil }) {
			return false
		}
	}
	return true
}

// Lost writes that readings are missing.
func (b *Buckets) Lost(lost *ampledgerv1.Lost) error {
	if err := b.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(b.to, "%s: %d reading(s) lost, sequence %d to %d: this program was too slow\n", lost.GetChannel(), lost.GetReadingCount(),
		lost.GetFirstSequence(), lost.GetLastSequence())
	return err
}

// Note writes a line of its own between the readings.
func (b *Buckets) Note(text string) error {
	if err := b.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintln(b.to, text)
	return err
}

// Flush writes the lines that wait.
func (b *Buckets) Flush() error {
	for len(b.lines) > 0 {
		if err := b.writeFirst(); err != nil {
			return err
		}
	}
	return nil
}

func (b *Buckets) writeFirst() error {
	if !b.started {
		b.started = true
		b.head()
	}
	line, cells := b.lines[0], []string{}
	b.lines = b.lines[1:]
	for _, channel := range b.channels {
		text := strings.Repeat(" ", cellWidth)
		if bucket := line.of[channel]; bucket != nil {
			text = cell(bucket)
		}
		cells = append(cells, text)
	}
	_, err := fmt.Fprintf(b.to, "%s  %s\n", Clock(line.from), strings.Join(cells, "  "))
	return err
}

// cellWidth is the room for one channel.
const cellWidth = 44

func (b *Buckets) head() {
	names := slices.Clone(b.channels)
	for i, name := range names {
		names[i] = fmt.Sprintf("%-*s", cellWidth, name+": mean ± u (least … greatest) A")
	}
	fmt.Fprintf(b.to, "%-23s  %s\n", "time (UTC)", strings.Join(names, "  "))
}

func cell(b *ampledgerv1.Bucket) string {
	if b.GetReadingCount() == 0 {
		return fmt.Sprintf("%-*s", cellWidth, "no usable reading")
	}
	text := fmt.Sprintf("%9.3f ± %.3f (%.2f … %.2f)", b.GetMeanAmperes(), b.GetStandardUncertaintyAmperes(), b.GetMinimumAmperes(), b.GetMaximumAmperes())
	if b.GetUnusableCount() > 0 {
		text += fmt.Sprintf(" %d unusable", b.GetUnusableCount())
	}
	return fmt.Sprintf("%-*s", cellWidth, text)
}
