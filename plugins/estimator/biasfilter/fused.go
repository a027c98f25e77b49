package biasfilter

import (
	"fmt"
	"math"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// share is what a channel added to the fused current over a time.
type share struct {
	seconds  float64 // W, the integral of its weight
	coulombs float64 // of its weight times its reading
}

// part is a fraction of it, over which the channel read a mean, its weight being the same throughout.
func (s share) part(of, mean float64) share {
	if of >= 1 {
		return s
	}
	return share{s.seconds * of, s.seconds * of * mean}
}

func (s share) less(o share) share { return share{s.seconds - o.seconds, s.coulombs - o.coulombs} }

// takeFused reads the shares. One that is no figure, or that is below 0 s, is passed over.
func (e *Estimator) takeFused(fused *plugin.Fused) error {
	e.mixed = fused != nil
	for _, c := range e.channels {
		c.share = share{}
	}
	for _, s := range fused.GetShares() {
		c := e.channel(s.GetName())
		if c == nil {
			return fmt.Errorf("channel %q of the fused current was not configured", s.GetName())
		}
		if seconds := s.GetWeightSeconds(); seconds > 0 && finite(seconds) && finite(s.GetIntegralCoulombs()) {
			c.share = share{seconds, s.GetIntegralCoulombs()}
		}
	}
	return nil
}

// mixElsewhere adds the shares of channels on other devices than the summary's, whose zeros walk as their own summaries come.
func (e *Estimator) mixElsewhere() {
	for _, c := range e.channels {
		if c.share.seconds > 0 && !e.isTaken(c) {
			c.add(e.filter, e.fused, c.share.seconds, c.share.coulombs, true)
			c.Weighed += c.share.seconds
		}
	}
}

// Fused implements plugin.Fusing: the fused charge B_f, if the newest summary had a fused current.
func (e *Estimator) Fused() *plugin.FusedCorrection {
	if !e.mixed {
		return nil
	}
	f := e.filter
	return &plugin.FusedCorrection{CorrectionCoulombs: f.x[e.fused], CorrectionUncertaintyCoulombs: math.Sqrt(f.p[e.fused*f.n+e.fused])}
}

// Covariances implements plugin.Fusing: of b + k(T − T₀) + Σhz + g·I between all channels, at the newest regressors and the newest mean of
// the current that each of them read, a channel's own widened as its estimate is; if the newest summary had a fused current.
func (e *Estimator) Covariances() (all []*plugin.ErrorCovariance) {
	if !e.mixed {
		return nil
	}
	for i, a := range e.channels {
		for _, b := range e.channels[i:] {
			covariance := e.filter.covariance(a.wrong(), b.wrong())
			if a == b {
				covariance = max(0, covariance) + a.unseen(e.filter)
			}
			all = append(all, &plugin.ErrorCovariance{First: a.name, Second: b.name, SquareAmperes: covariance})
		}
	}
	return all
}

// wrong is the form of what is wrong with the channel's newest current.
func (c *channel) wrong() []term {
	copy(c.charge, c.offset)
	c.charge[len(c.offset)].by = c.Current
	return c.charge
}
