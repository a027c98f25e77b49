package show

import (
	"fmt"
	"io"
	"slices"
	"strings"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Buckets writes reduced readings of several channels side by side, a line for each stretch of time. A line is written when each channel
// has its bucket, or when one has a later one already: then the others have nothing there.
type Buckets struct {
	to       io.Writer
	channels []string
	line     map[string]*ampledgerv1.Bucket
	started  bool
}

// NewBuckets makes a writer for these channels, in this order.
func NewBuckets(to io.Writer, channels []string) *Buckets {
	return &Buckets{to: to, channels: channels, line: map[string]*ampledgerv1.Bucket{}}
}

// Add takes the next bucket.
func (b *Buckets) Add(bucket *ampledgerv1.Bucket) error {
	if b.line[bucket.GetChannel()] != nil {
		if err := b.Flush(); err != nil {
			return err
		}
	}
	b.line[bucket.GetChannel()] = bucket
	if len(b.line) == len(b.channels) {
		return b.Flush()
	}
	return nil
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

// Flush writes the line that is open.
func (b *Buckets) Flush() error {
	if len(b.line) == 0 {
		return nil
	}
	if !b.started {
		b.started = true
		b.head()
	}
	cells := []string{}
	var first *ampledgerv1.Bucket
	for _, channel := range b.channels {
		bucket := b.line[channel]
		if bucket == nil {
			cells = append(cells, strings.Repeat(" ", cellWidth))
			continue
		}
		if first == nil || bucket.GetFirstWallNanos() < first.GetFirstWallNanos() {
			first = bucket
		}
		cells = append(cells, cell(bucket))
	}
	clear(b.line)
	_, err := fmt.Fprintf(b.to, "%s  %s\n", Clock(first.GetFirstWallNanos()), strings.Join(cells, "  "))
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
