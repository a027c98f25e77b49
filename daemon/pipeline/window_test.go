package pipeline

import (
	"context"
	"errors"
	"math"
	"testing"
	"testing/synctest"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

type windowResult struct {
	captured *Captured
	err      error
}

func declare(ctx context.Context, c *Conductor, nanos int64) <-chan windowResult {
	result := make(chan windowResult, 1)
	go func() {
		captured, err := c.Declare(ctx, Window{Nanos: nanos, By: "A. Meter", Note: "lugs off"})
		result <- windowResult{captured, err}
	}()
	synctest.Wait()
	return result
}

// rests gives the words of an estimator's summaries on rest.
func (o *observer) rests() (words []pluginv1.Rest) {
	for _, s := range o.seen() {
		words = append(words, s.GetRest())
	}
	return words
}

// TestWindowMakesRests declares 2.4 s from the sixth scan of a summary of ten on, at ten scans a second, the contactor closed all the while:
// only the summaries that lie wholly in it are rests, and what was read in them comes back.
func TestWindowMakesRests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, o := &journal{}, fixed(1)
		answer := o.do
		o.do = func(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error) {
			a, err := answer(ctx, s)
			if s.GetRest() == pluginv1.Rest_REST_CERTAIN {
				a.Channels[0].OffsetAmperes, a.Channels[0].StandardUncertaintyAmperes = 2.5, 0.01
				a.Notes = []*plugin.Note{{Subject: "rest seen", Text: "yes"}}
			}
			return a, err
		}
		c := live(t, j, starts{"old": always(o)})
		c.Apply(t.Context(), "dev", frame(10, 3, 5, 0))
		wait := declare(t.Context(), c, 2.4e9) // from scan 15 up to scan 39, its last moment
		if _, err := c.Declare(t.Context(), Window{Nanos: 1}); !errors.Is(err, ErrWindowBusy) {
			t.Errorf("a second window: %v", err)
		}
		c.Apply(t.Context(), "dev", frame(15, 2, 15, 0))
		c.Apply(t.Context(), "dev", frame(30, 3, 15, 0))
		synctest.Wait()
		c.Apply(t.Context(), "dev", frame(45, 3, 5, 0))
		synctest.Wait()
		got := <-wait
		check(t, got.err)
		none, certain := pluginv1.Rest_REST_NONE, pluginv1.Rest_REST_CERTAIN
		if diff := cmp.Diff([]pluginv1.Rest{none, none, certain, certain, none}, o.rests()); diff != "" {
			t.Errorf("rests (-want +got):\n%s", diff)
		}
		if got.captured.From != 2.0e9 || got.captured.To != 3.9e9 {
			t.Errorf("from %d to %d", got.captured.From, got.captured.To)
		}
		zero := got.captured.Zeros[0]
		if zero.Readings != 20 || math.Abs(zero.Mean-2.5) > 1e-12 || math.Abs(zero.Uncertainty-0.5) > 1e-12 { // means of 2 A and 3 A
			t.Errorf("zero: %+v", zero)
		}
		if zero.Before.Amperes != 1 || zero.After != (Offset{2.5, 0.01}) {
			t.Errorf("offset before %+v, after %+v", zero.Before, zero.After)
		}
		if diff := cmp.Diff([]string{"rest seen: yes", "rest seen: yes"}, got.captured.Notes); diff != "" {
			t.Errorf("notes (-want +got):\n%s", diff)
		}
		if told := j.told(); told[0] != "note zero declared RAISED" {
			t.Errorf("events: %q", told)
		}
	})
}

// TestWindowEnds in each other way there is.
func TestWindowEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := fixed(1)
		c := live(t, &journal{}, starts{"old": always(o)})
		short := declare(t.Context(), c, 0.5e9)
		c.Apply(t.Context(), "dev", frame(10, 2, 10, 0))
		synctest.Wait()
		if got := <-short; !errors.Is(got.err, ErrWindowEmpty) {
			t.Errorf("a window shorter than a summary: %v", got.err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		left := declare(ctx, c, 60e9)
		c.Apply(t.Context(), "dev", frame(20, 2, 10, 0))
		cancel()
		synctest.Wait()
		if got := <-left; !errors.Is(got.err, context.Canceled) {
			t.Errorf("a caller that left: %v", got.err)
		}
		c.Apply(t.Context(), "dev", frame(30, 2, 10, 0))
		last := declare(t.Context(), c, 60e9)
		c.Apply(t.Context(), "dev", frame(40, 2, 10, 0))
		c.End(t.Context(), "dev")
		synctest.Wait()
		if got := <-last; got.err != nil || got.captured.Zeros[0].Readings != 10 {
			t.Errorf("a source that ended: %+v", got)
		}
		none, certain := pluginv1.Rest_REST_NONE, pluginv1.Rest_REST_CERTAIN
		if diff := cmp.Diff([]pluginv1.Rest{none, none, certain, none, certain}, o.rests()); diff != "" {
			t.Errorf("rests (-want +got):\n%s", diff)
		}
	})
}

// TestAWindowThatNobodyReadsInEnds by the host's clock, and makes no rest of what comes later.
func TestAWindowThatNobodyReadsInEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := fixed(1)
		c := live(t, &journal{}, starts{"old": always(o)})
		if _, err := c.Declare(context.Background(), Window{Nanos: 30e9}); !errors.Is(err, ErrWindowSilent) {
			t.Errorf("no reading came: %v", err)
		}
		c.Apply(t.Context(), "dev", frame(10, 100, 10, 0))
		c.End(t.Context(), "dev")
		if _, err := c.Declare(context.Background(), Window{Nanos: 30e9}); !errors.Is(err, ErrWindowSilent) {
			t.Errorf("the source had come to its end: %v", err)
		}
		synctest.Wait()
		for _, rest := range o.rests() {
			if rest == pluginv1.Rest_REST_CERTAIN {
				t.Error("100 A were taken for a rest")
			}
		}
	})
}
