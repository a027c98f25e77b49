package query

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/show"
	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// showWaveform writes or draws the readings around an event. What is not there is said on stderr.
func showWaveform(ctx context.Context, c *cobra.Command, daemon *client.Client, flags abuseFlags) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := daemon.Abuse.GetWaveform(ctx, &ampledgerv1.GetWaveformRequest{EventId: flags.waveform})
	if err != nil {
		return err
	}
	to := bufio.NewWriterSize(c.OutOrStdout(), 1<<16)
	table := &waveformTable{to: to}
	drawn := &waveformPicture{}
	take := table.take
	switch {
	case *flags.json:
		take = func(item *ampledgerv1.GetWaveformResponse) error { return show.JSONLine(to, item) }
	case flags.plot != "":
		take = drawn.take
	}
	for {
		item, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return errors.Join(to.Flush(), err)
		}
		if shortfall := item.GetWaveform().GetShortfall(); shortfall != "" {
			fmt.Fprintf(c.ErrOrStderr(), "the waveform is not complete: %s\n", shortfall)
		}
		if err := take(item); err != nil {
			return err
		}
	}
	if flags.plot != "" {
		return drawn.draw(c, flags.plot)
	}
	return to.Flush()
}

// waveformTable writes readings as CSV, a row a reading. Quality holds what makes a reading unusable, separated by semicolons, and is empty if
// it is good.
type waveformTable struct {
	to    *bufio.Writer
	onset int64 // device time, ns
	row   []byte
}

func (t *waveformTable) take(item *ampledgerv1.GetWaveformResponse) error {
	if header := item.GetWaveform(); header != nil {
		t.onset = header.GetOnsetMonotonicNanos()
		_, err := t.to.WriteString("seconds_from_onset,current_amperes,quality\n")
		return err
	}
	f := item.GetFrame()
	for k, amperes := range f.GetCurrentAmperes() {
		row := appendSeconds(t.row[:0], frameTime(f, k)-t.onset)
		row = append(appendFloat(append(row, ','), amperes), ',')
		for i, name := range frameQuality(f, k).Names(nil) {
			if i > 0 {
				row = append(row, ';')
			}
			row = append(row, name...)
		}
		t.row = append(row, '\n')
		if _, err := t.to.Write(t.row); err != nil {
			return err
		}
	}
	return nil
}

// frameTime gives the device time of a frame's reading, ns.
func frameTime(f *ampledgerv1.Frame, k int) int64 {
	if f.GetPeriodNanos() == 0 {
		return f.GetFirstMonotonicNanos() + f.GetOffsetNanos()[k]
	}
	return f.GetFirstMonotonicNanos() + int64(k)*f.GetPeriodNanos()
}

func frameQuality(f *ampledgerv1.Frame, k int) scan.Quality {
	if len(f.GetQualityBits()) == 0 {
		return 0
	}
	return scan.Quality(f.GetQualityBits()[k])
}
