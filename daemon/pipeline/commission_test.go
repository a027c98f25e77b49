package pipeline

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"testing/synctest"

	"github.com/google/go-cmp/cmp"
)

// zeroOf corrects a zero of so many amperes.
func zeroOf(amperes float64, record uint64) Correction {
	c := Uncorrected()
	c.Coefficients[0], c.Record = amperes, record
	return c
}

// anewEach hands out estimators with one offset, a new one at each start, and lists them.
func anewEach(amperes float64) (start func() (*observer, error), all *[]*observer) {
	all = &[]*observer{}
	return func() (*observer, error) {
		*all = append(*all, fixed(amperes))
		return (*all)[len(*all)-1], nil
	}, all
}

// said keeps a correction by giving its reason alone.
func said(reason string) Keep { return func(*Correction) (string, error) { return reason, nil } }

// TestCommission corrects a zero of 0.5 A in the middle of a summary: what came before is posted as it was counted, an entry says from when on it is
// counted otherwise, and the estimators begin anew on what they now get alone. Until they have answered, nothing else is subtracted.
func TestCommission(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		start, all := anewEach(1)
		c := live(t, j, starts{"old": start, "side": start})
		_, err := c.AddShadow(t.Context(), "beside", named("side"), func(Progress) {})
		check(t, err)
		c.Apply(t.Context(), "dev", frame(10, 3, 5, 0))
		from, err := c.Commission(t.Context(), "meter", zeroOf(0.5, 7), said("record 7: zero"))
		check(t, err)
		if from != 15 || c.InForce("meter") != 7 {
			t.Errorf("from %d, in force is record %d", from, c.InForce("meter"))
		}
		synctest.Wait()
		c.Apply(t.Context(), "dev", frame(15, 3, 5, 0))
		synctest.Wait()
		c.Apply(t.Context(), "dev", frame(20, 3, 10, 0))
		if got := []float64{j.amperes[14], j.amperes[15], j.amperes[19], j.amperes[20]}; !cmp.Equal(got, []float64{2, 2.5, 2.5, 1.5}) {
			t.Errorf("readings %v", got)
		}
		var posted []string
		for _, p := range j.postings {
			posted = append(posted, fmt.Sprintf("%s %d-%d", p.Kind, p.Counted.FirstSequence, p.Counted.LastSequence))
		}
		if diff := cmp.Diff([]string{"interval 0-14", "commissioning 15-15"}, posted[:2]); diff != "" {
			t.Errorf("posted %q", posted)
		}
		names, _ := c.Shadows()
		if diff := cmp.Diff([]string{"beside"}, names); diff != "" || len(*all) != 4 {
			t.Fatalf("%d estimators were started, in the shadow are %q", len(*all), names)
		}
		for i, o := range *all {
			first := o.seen()[0].GetFirstSequence()
			if (i >= 2) != (first == 15) || o.closed != (i < 2) || len(o.kept.State) > 0 {
				t.Errorf("estimator %d: first saw sequence %d, closed: %v, kept: %q", i, first, o.closed, o.kept.State)
			}
		}
		if !strings.Contains(strings.Join(j.told(), "; "), "note correction in force RAISED") {
			t.Errorf("events: %q", j.told())
		}
		_, err = c.Revert(t.Context(), func(Progress) {})
		if !errors.Is(err, ErrNoPrevious) {
			t.Errorf("an estimator of before the change comes back: %v", err)
		}
	})
}

var errUnstored = errors.New("no room on disk")

// TestCommissionRefused leaves everything as it was, and keeps nothing unless nothing but the ledger's room is in the way.
func TestCommissionRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := live(t, j, starts{})
		unkept := func(*Correction) (string, error) {
			t.Error("a change was kept that is refused")
			return "", nil
		}
		keep := unkept
		refused := func(want error, text, channel string, correction Correction) {
			t.Helper()
			if _, err := c.Commission(t.Context(), channel, correction, keep); !errors.Is(err, want) || !strings.Contains(err.Error(), text) {
				t.Errorf("got %v, want %v", err, want)
			}
		}
		refused(ErrChannelUnknown, "other", "other", zeroOf(1, 1))
		inverse, drifting := zeroOf(0, 1), zeroOf(0, 1)
		inverse.Coefficients[1], drifting.PerKelvin = -1, 1
		refused(ErrCorrection, "gain is -1", "meter", inverse)
		refused(ErrCorrection, "none is wired", "meter", drifting)
		ctx, cancel := context.WithCancel(t.Context())
		wait := declare(ctx, c, 60e9)
		refused(ErrWindowBusy, "", "meter", zeroOf(1, 1))
		cancel()
		<-wait
		var swapping func()
		if swapping, _ = c.claim(); swapping == nil {
			t.Fatal("no swap can be begun")
		}
		refused(ErrSwapBusy, "", "meter", zeroOf(1, 1))
		swapping()
		keep = func(*Correction) (string, error) { return "", errUnstored }
		refused(errUnstored, "", "meter", zeroOf(1, 1))
		keep = said("x")
		j.full = true
		refused(ErrLedgerFull, "", "meter", zeroOf(1, 1))
		j.full = false
		if generation, offset := inForce(t, c, j, 10); generation != 1 || offset != 1 || c.InForce("meter") != 0 || j.amperes[10] != 9 {
			t.Errorf("generation %d, offset %g, record %d, reading %g", generation, offset, c.InForce("meter"), j.amperes[10])
		}
		unbound := unboundConductor(t, j, ConductorConfig{})
		if _, err := unbound.Commission(t.Context(), "meter", zeroOf(1, 1), unkept); !errors.Is(err, ErrCorrection) {
			t.Errorf("not bound: %v", err)
		}
	})
}

// TestCorrectionOutlivesTheDaemon puts in force what was before, at once and again when the driver is; a state that was kept under another correction is of no use.
func TestCorrectionOutlivesTheDaemon(t *testing.T) {
	for name, kept := range map[string]map[string]uint64{"kept under the same": {"meter": 7}, "kept under another": {"meter": 6}, "kept under none": nil} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				j, o := &journal{}, fixed(1)
				c := unboundConductor(t, j, ConductorConfig{Start: starts{"e": always(o)}.start, Expected: true})
				t.Cleanup(c.Close)
				correction := zeroOf(0.5, 7)
				correction.Basis = reportedBasis
				c.Correct("meter", correction)
				c.Restore(&Kept{Plugin: "e", State: []byte("state"), Corrections: kept})
				bindDevice(t, c)
				check(t, c.Begin(t.Context(), named("e")))
				c.Apply(t.Context(), "dev", frame(0, 3, 10, 0))
				bindDevice(t, c)
				c.Apply(t.Context(), "dev", frame(10, 3, 1, 0))
				if j.amperes[0] != 2.5 || math.Abs(j.amperes[10]-2.5) > 1.01 {
					t.Errorf("readings %v", j.amperes)
				}
				if used := len(o.kept.State) > 0; used != (kept["meter"] == 7) {
					t.Errorf("the state is used: %v", used)
				}
				c.Post(t.Context())
				if diff := cmp.Diff(map[string]uint64{"meter": 7}, j.kept[0].Corrections); diff != "" {
					t.Errorf("kept under (-want +got):\n%s", diff)
				}
			})
		})
	}
}

// TestCorrectionExpires warns once when the time is over, and no more when another correction is in force.
func TestCorrectionExpires(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := live(t, j, starts{})
		soon := zeroOf(0.5, 7)
		soon.Expires = 3e9
		_, err := c.Commission(t.Context(), "meter", soon, said("record 7"))
		check(t, err)
		warned := func() (lines []string) {
			for _, line := range j.told() {
				if strings.HasPrefix(line, "calibration ") {
					lines = append(lines, line)
				}
			}
			return lines
		}
		c.Apply(t.Context(), "dev", frame(10, 3, 10, 0))
		if got := warned(); len(got) != 0 {
			t.Errorf("warned at 2 s: %q", got)
		}
		c.Apply(t.Context(), "dev", frame(20, 3, 30, 0))
		if got := warned(); !cmp.Equal(got, []string{"calibration meter RAISED"}) {
			t.Errorf("warned at 5 s: %q", got)
		}
		_, err = c.Commission(t.Context(), "meter", zeroOf(0.5, 8), said("record 8"))
		check(t, err)
		c.Apply(t.Context(), "dev", frame(50, 3, 10, 0))
		if got := warned(); !cmp.Equal(got, []string{"calibration meter RAISED", "calibration meter CLEARED"}) {
			t.Errorf("found anew: %q", got)
		}
	})
}

type measureResult struct {
	measured []*Measured
	err      error
}

func measure(ctx context.Context, c *Conductor, nanos int64, channels ...string) <-chan measureResult {
	result := make(chan measureResult, 1)
	go func() {
		measured, err := c.Measure(ctx, channels, nanos)
		result <- measureResult{measured, err}
	}()
	synctest.Wait()
	return result
}

// TestMeasure takes the summaries that lie wholly in the time, at full rate and before the estimator's offset; nobody takes them for a rest.
func TestMeasure(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, o := &journal{}, fixed(1)
		c := live(t, j, starts{"old": always(o)})
		c.Apply(t.Context(), "dev", frame(10, 3, 5, 0))
		wait := measure(t.Context(), c, 4e9, "meter")
		if _, err := c.Measure(t.Context(), []string{"meter"}, 1e9); !errors.Is(err, ErrMeasureBusy) {
			t.Errorf("a second one: %v", err)
		}
		if _, err := c.Commission(t.Context(), "meter", zeroOf(1, 1), said("x")); !errors.Is(err, ErrMeasureBusy) {
			t.Errorf("a change meanwhile: %v", err)
		}
		f := frame(15, 7, 45, 0)
		for k := range f.Columns[0].Values {
			f.Columns[0].Values[k] += 0.1 * float64(k%2)
		}
		f.Columns[0].Values[10] = math.NaN() // scan 25
		c.Apply(t.Context(), "dev", f)
		synctest.Wait()
		got := <-wait
		check(t, got.err)
		m := got.measured[0]
		if m.Count != 29 || math.Abs(m.MeanAmperes-7.05) > 0.01 || m.From != 2.0e9 || m.To != 4.9e9 || m.ZeroAmperes != 2 || m.Lane.Name != "meter" {
			t.Errorf("%d readings, mean %g A from %d to %d, zero ± %g A", m.Count, m.MeanAmperes, m.From, m.To, m.ZeroAmperes)
		}
		for _, s := range o.seen() {
			if s.GetRest().String() != "REST_NONE" || len(s.GetScanOffsetNanos()) > 0 {
				t.Errorf("an estimator was told %v", s)
			}
		}
	})
}

func TestNothingMeasured(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := live(t, &journal{}, starts{})
		if _, err := c.Measure(t.Context(), []string{"other"}, 1); !errors.Is(err, ErrChannelUnknown) {
			t.Errorf("no such channel: %v", err)
		}
		short := measure(t.Context(), c, 1e9, "meter")
		c.Apply(t.Context(), "dev", frame(10, 3, 20, 0))
		synctest.Wait()
		if got := <-short; !errors.Is(got.err, ErrMeasureFew) {
			t.Errorf("ten readings: %v", got.err)
		}
		if _, err := c.Measure(t.Context(), []string{"meter"}, 1e9); !errors.Is(err, ErrMeasureSilent) {
			t.Errorf("no reading came: %v", err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		left := measure(ctx, c, 60e9, "meter")
		cancel()
		if got := <-left; !errors.Is(got.err, context.Canceled) {
			t.Errorf("a caller that left: %v", got.err)
		}
		last := measure(t.Context(), c, 60e9, "meter")
		c.Apply(t.Context(), "dev", frame(30, 3, 30, 0))
		c.End(t.Context(), "dev")
		if got := <-last; got.err != nil || got.measured[0].Count != 30 {
			t.Errorf("a source that ended: %+v", got)
		}
	})
}

// TestWindowLooksAtItsReadings finds the step within a rest that its summaries hide from the mean.
func TestWindowLooksAtItsReadings(t *testing.T) {
	for name, c := range map[string]struct {
		step   float64
		steady bool
	}{"steady": {0, true}, "a step": {0.5, false}} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				conductor := live(t, &journal{}, starts{})
				wait := declare(t.Context(), conductor, 10e9)
				f := frame(10, 0, 111, 0)
				for k := range f.Columns[0].Values {
					f.Columns[0].Values[k] = 0.3 + 0.1*math.Sin(float64(k*k))
					if k > 50 {
						f.Columns[0].Values[k] += c.step
					}
				}
				conductor.Apply(t.Context(), "dev", f)
				synctest.Wait()
				got := <-wait
				check(t, got.err)
				zero := got.captured.Zeros[0]
				if zero.Found == nil || zero.Found.Verdict.Stable != c.steady || zero.Found.Count != 100 || zero.Block != 1 {
					t.Errorf("%+v, %v", zero.Found, zero.NoFind)
				}
			})
		})
	}
}

// TestRestReadingsAreBounded adds more readings than are kept: each value becomes the mean of more of them, and the mean of all stays.
func TestRestReadingsAreBounded(t *testing.T) {
	r := &restReadings{}
	offsets, amperes := make([]int64, 1000), make([]float64, 1000)
	n := 0
	for s := range 600 {
		for k := range amperes {
			offsets[k], amperes[k] = int64(k)*1000, 5+float64(n)
			n++
		}
		r.add(int64(s)*1_000_000, offsets, amperes)
	}
	if r.size != 8 || len(r.log.Amperes) != n/8 || cap(r.log.Amperes) > 2*mostRestReadings {
		t.Fatalf("%d values of %d readings each", len(r.log.Amperes), r.size)
	}
	for i, y := range r.log.Amperes {
		if want := 5 + 8*float64(i) + 3.5; math.Abs(y-want) > 1e-6 || r.log.Nanos[i] != int64(8*i)*1000+3500 {
			t.Fatalf("value %d is %g A at %d ns, want %g A", i, y, r.log.Nanos[i], want)
		}
	}
}

// TestCommissionKeepsCharge corrects a gain of 2 halfway: the balance is the sum of both halves, each as it was converted.
func TestCommissionKeepsCharge(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := newConductor(t, j, ConductorConfig{Start: starts{}.start})
		c.Apply(t.Context(), "dev", frame(0, 4, 21, 0))
		half := Uncorrected()
		half.Coefficients[1], half.Record = 2, 1
		_, err := c.Commission(t.Context(), "meter", half, said("record 1"))
		check(t, err)
		c.Apply(t.Context(), "dev", frame(21, 4, 20, 0))
		c.Post(t.Context())
		ledger, _ := j.ledgerOf()
		if want := int64(8e6 + 0.1*3e6 + 1.9*2e6); math.Abs(float64(ledger.net()-want)) > 1 { // a trapezoid where it changes
			t.Errorf("%d µC, want %d", ledger.net(), want)
		}
	})
}

// reportedBasis is how the tests' channel is converted.
const reportedBasis = "input amperes of dev, temperature wired: false; sensor.Reported {}; 1 V/count, 0 V at count 0; reversed: false; (x - 0)/1"

// TestCorrectionOnAnotherConversion is not in force: the log and the ledger say so, and readings come as they are configured.
func TestCorrectionOnAnotherConversion(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := unboundConductor(t, j, ConductorConfig{Start: starts{}.start})
		correction := zeroOf(0.5, 7)
		correction.Basis, correction.Name = "another", "record 7"
		c.Correct("meter", correction)
		bindDevice(t, c)
		bindDevice(t, c)
		c.Apply(t.Context(), "dev", frame(0, 3, 10, 0))
		if basis, err := c.Basis("meter"); err != nil || basis != reportedBasis {
			t.Errorf("basis %q, %v", basis, err)
		}
		if j.amperes[0] != 3 || c.InForce("meter") != 0 {
			t.Errorf("reads %g A, in force is %d", j.amperes[0], c.InForce("meter"))
		}
		if len(j.postings) == 0 || j.postings[0].Kind != Commissioned || !strings.HasPrefix(j.postings[0].Reason, "record 7: not in force any more") {
			t.Errorf("posted %+v", j.postings)
		}
		if diff := cmp.Diff([]string{"calibration meter RAISED"}, j.told()); diff != "" {
			t.Errorf("events (-want +got):\n%s", diff)
		}
	})
}
