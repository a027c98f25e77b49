package estimatortest

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"slices"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// charged gives each summary of the shunt what a ledger holds as of then. Where the device starts again, so does the daemon.
func charged(summaries []*plugin.Summary) []*plugin.Summary {
	whole, run := &plugin.Charge{OutCoulombs: 5e4, InCoulombs: 4e4, AdjustmentCoulombs: -20, NetUncertaintyCoulombs: 100}, &plugin.Charge{}
	last := int64(0)
	for _, s := range summaries {
		c := s.GetChannels()[0]
		if c.GetName() != Shunt {
			continue
		}
		if s.GetFirstMonotonicNanos() < last {
			run = &plugin.Charge{GapBoundCoulombs: 500}
		}
		last = s.GetLastMonotonicNanos()
		whole.OutCoulombs += max(0, c.GetIntegralCoulombs())
		whole.InCoulombs -= min(0, c.GetIntegralCoulombs())
		whole.NetUncertaintyCoulombs += 0.5
		run.ZeroCoulombs += 0.5
		run.NoiseSquareCoulombs += 0.01
		s.Charge = &plugin.Charge{
			OutCoulombs: whole.OutCoulombs, InCoulombs: whole.InCoulombs, AdjustmentCoulombs: whole.AdjustmentCoulombs,
			NetUncertaintyCoulombs: whole.NetUncertaintyCoulombs, ZeroCoulombs: run.ZeroCoulombs, GainRatio: 0.001,
			NoiseSquareCoulombs: run.NoiseSquareCoulombs, GapBoundCoulombs: run.GapBoundCoulombs,
		}
	}
	return summaries
}

// harms is what no sound daemon says of its ledger.
var harms = []func(*plugin.Charge){
	func(c *plugin.Charge) { c.OutCoulombs, c.InCoulombs = 0, 0 },
	func(c *plugin.Charge) { c.OutCoulombs = math.NaN() },
	func(c *plugin.Charge) { c.InCoulombs = math.MaxFloat64 },
	func(c *plugin.Charge) { c.AdjustmentCoulombs = math.Inf(-1) },
	func(c *plugin.Charge) { c.NetUncertaintyCoulombs = -1 },
	func(c *plugin.Charge) { c.ZeroCoulombs = 1e300 },
	func(c *plugin.Charge) { c.NoiseSquareCoulombs = -1e300 },
}

// Some charges are harmed, some are left out.
func (s suite) derivesSoundOutputs(ctx context.Context) error {
	e, err := s.start(ctx)
	if err != nil {
		return err
	}
	for k, summary := range mixed() {
		switch {
		case k%7 == 3:
			summary.Charge = nil
		case k%10 == 0 && summary.GetCharge() != nil:
			harms[k/10%len(harms)](summary.GetCharge())
		}
		if _, err := observe(e, summary); err != nil {
			return err
		}
	}
	_, err = e.Snapshot()
	return err
}

var outputName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,39}$`)

// derives tells whether an estimator names outputs, which may take the place of estimates.
func derives(e plugin.Estimator) bool {
	deriving, is := e.(plugin.Deriving)
	return is && len(deriving.Outputs()) > 0
}

// checkOutputs wants an answer to hold what was named, once, and figures that are ones.
func checkOutputs(e plugin.Estimator, answer *plugin.Answer) error {
	var named []string
	if deriving, is := e.(plugin.Deriving); is {
		for _, o := range deriving.Outputs() {
			if slices.Contains(named, o.GetName()) || !outputName.MatchString(o.GetName()) || o.GetUnit() == "" {
				return fmt.Errorf("output %q, unit %q: named twice, or no name, or no unit", o.GetName(), o.GetUnit())
			}
			named = append(named, o.GetName())
		}
	}
	seen := map[string]bool{}
	for _, o := range answer.GetOutputs() {
		switch v, u := o.GetValue(), o.GetUncertaintyValue(); {
		case !slices.Contains(named, o.GetName()):
			return fmt.Errorf("output %q, which was not named", o.GetName())
		case seen[o.GetName()]:
			return fmt.Errorf("two values of output %q", o.GetName())
		case v-v != 0 || u-u != 0 || u < 0:
			return fmt.Errorf("output %q: %g ± %g", o.GetName(), v, u)
		}
		seen[o.GetName()] = true
	}
	return nil
}
