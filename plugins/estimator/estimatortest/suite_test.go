package estimatortest

import (
	"context"
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// counter estimates how many summaries it has seen. Its faults are the test's to set.
type counter struct {
	count int

	method      string
	anySetting  bool
	anyChannel  bool
	anySnapshot bool
	silent      bool
	forgets     bool
	disturbed   bool
	drift       *int // shared by all
	answer      func(e *plugin.ChannelEstimate)
	fused       func(*plugin.Summary) *plugin.FusedCorrection
	covariances []*plugin.ErrorCovariance
	newest      *plugin.Summary
	surer       bool // the older it is
	age         time.Duration
}

func (c *counter) Age(by time.Duration) { c.age = by }

func (c *counter) Fused() *plugin.FusedCorrection {
	if c.fused == nil {
		return nil
	}
	return c.fused(c.newest)
}

func (c *counter) Covariances() []*plugin.ErrorCovariance {
	if c.newest.GetFused() == nil {
		return nil
	}
	return c.covariances
}

func (c *counter) Configure(_ context.Context, _ plugin.Conductor, s plugin.Settings) (string, error) {
	if c.anySetting {
		return c.method, nil
	}
	return c.method, s.Decode(&struct{}{})
}

func (c *counter) Observe(s *plugin.Summary) (estimates []*plugin.ChannelEstimate, err error) {
	c.count++
	c.newest = s
	for _, channel := range s.GetChannels() {
		if channel.GetName() != Shunt && channel.GetName() != Magnetic && !c.anyChannel {
			return nil, errors.New("unknown channel")
		}
		e := &plugin.ChannelEstimate{Name: channel.GetName(), OffsetAmperes: float64(c.count)}
		if c.drift != nil {
			*c.drift++
			e.OffsetAmperes += float64(*c.drift)
		}
		if c.surer {
			e.StandardUncertaintyAmperes = 1 / (1 + c.age.Hours())
		}
		c.answer(e)
		estimates = append(estimates, e)
		s.Channels = nil // it is the callee's
	}
	if c.silent {
		return nil, nil
	}
	return estimates, nil
}

func (c *counter) Snapshot() ([]byte, error) {
	state := strconv.Itoa(c.count)
	if c.disturbed {
		c.count++
	}
	if c.forgets {
		state = "0"
	}
	return []byte("counter " + state), nil
}

func (c *counter) Restore(state []byte) (err error) {
	count, found := strings.CutPrefix(string(state), "counter ")
	if !found && !c.anySnapshot {
		return errors.New("no snapshot of counter")
	}
	c.count, err = strconv.Atoi(count)
	if c.anySnapshot {
		return nil
	}
	return err
}

func TestSuiteFindsFaults(t *testing.T) {
	drift := 0
	for _, c := range []struct {
		check, want string
		harm        func(*counter)
	}{
		{"", "", func(*counter) {}},
		{"says its method", `the method is "", want one line`, func(c *counter) { c.method = "" }},
		{"says its method", `the method is "two\nlines", want one line`, func(c *counter) { c.method = "two\nlines" }},
		{"gives sound estimates", "no estimate was given", func(c *counter) { c.silent = true }},
		{"gives sound estimates", "NaN A ± 0 A", func(c *counter) { c.answer = func(e *plugin.ChannelEstimate) { e.OffsetAmperes = math.NaN() } }},
		{"gives sound estimates", "± -1 A", func(c *counter) { c.answer = func(e *plugin.ChannelEstimate) { e.StandardUncertaintyAmperes = -1 } }},
		{"gives sound estimates", "walk +Inf A/√s", func(c *counter) {
			c.answer = func(e *plugin.ChannelEstimate) { e.WalkAmperesPerRootSecond = math.Inf(1) }
		}},
		{"gives sound estimates", `channel "x", which was not configured`, func(c *counter) { c.answer = func(e *plugin.ChannelEstimate) { e.Name = "x" } }},
		{"gives sound estimates", "that is not there", func(c *counter) {
			c.fused = func(*plugin.Summary) *plugin.FusedCorrection { return &plugin.FusedCorrection{} }
		}},
		{"takes marks and a fused current", "correction is 0 C ± -1 C", func(c *counter) {
			c.fused = func(*plugin.Summary) *plugin.FusedCorrection {
				return &plugin.FusedCorrection{CorrectionUncertaintyCoulombs: -1}
			}
		}},
		{"takes marks and a fused current", "covariance of shunt and magnetic is 2 A², at most 1 A² is possible", func(c *counter) {
			c.covariances = []*plugin.ErrorCovariance{
				{First: Shunt, Second: Shunt, SquareAmperes: 1}, {First: Shunt, Second: Magnetic, SquareAmperes: 2}, {First: Magnetic, Second: Magnetic, SquareAmperes: 1},
			}
		}},
		{"gets older", "after a month", func(c *counter) { c.surer = true }},
		{"gives the same again", "answered", func(c *counter) { c.drift = &drift }},
		{"continues from each snapshot", "snapshot after 1 summaries", func(c *counter) { c.forgets = true }},
		{"continues from each snapshot", "snapshot after 0 summaries", func(c *counter) { c.disturbed = true }},
		{"refuses a foreign snapshot", `snapshot "" was restored`, func(c *counter) { c.anySnapshot = true }},
		{"refuses an unknown setting by its name", "names no_such_setting", func(c *counter) { c.anySetting = true }},
		{"refuses an unknown channel", "was taken", func(c *counter) { c.anyChannel = true }},
	} {
		s := suite{open: func() plugin.Estimator {
			e := &counter{method: "counting", answer: func(*plugin.ChannelEstimate) {}}
			c.harm(e)
			return e
		}}
		for _, each := range slices.Concat(checks, inProcess) {
			if c.check != "" && each.name != c.check {
				continue
			}
			err := s.make(t.Context(), each)
			switch {
			case c.check == "" && err != nil:
				t.Errorf("a sound estimator: %s: %v", each.name, err)
			case c.check != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
				t.Errorf("%s: error %v, want %s", each.name, err, c.want)
			}
		}
	}
}

func TestTwoEstimatesOfAChannel(t *testing.T) {
	one := &plugin.ChannelEstimate{Name: Shunt}
	if err := checkEstimates([]*plugin.ChannelEstimate{one, one}); err == nil || err.Error() != `two estimates of channel "shunt"` {
		t.Error(err)
	}
}
