package biasfilter

// reopen asks the prior where a rest was rejected for long: a zero that jumped, as by a blow to the sensor, is consistent with the prior,
// 20 A of load under a false signal of the contactor are not. Then the channel's θ begins anew, and the rest is believed.
//
// When the zero jumped is not known: at any time since the rest before, over which B is then too small by between nothing and δ·T, so
// B += δT/2 with the variance δ²T²/12 of a uniform distribution. What was integrated while the rest was rejected is known exactly now.
func (e *Estimator) reopen() bool {
	failing := 0
	for _, c := range e.channels {
		if !c.Resting.Now || !c.Resting.Failing || c.Resting.Draw != e.memory.Draw {
			continue
		}
		failing++
		if !e.isTaken(c) || !e.reopenable(c) {
			return false
		}
	}
	for _, c := range e.taken {
		if c.Resting.Failing {
			e.begin(c)
		}
	}
	return failing > 0
}

func (e *Estimator) isTaken(c *channel) bool {
	for _, taken := range e.taken {
		if taken == c {
			return true
		}
	}
	return false
}

// reopenable tells whether a channel was rejected for long enough and agrees with the prior.
func (e *Estimator) reopenable(c *channel) bool {
	r := &c.Resting
	if !c.now.known || r.Count < e.settings.ReopenRestCount || r.Seconds+c.now.seconds < e.settings.ReopenSeconds {
		return false
	}
	variance := c.priorVariance(c.Age) + e.memory.Residual*e.memory.Residual + c.colour() + c.now.variance
	return c.now.mean*c.now.mean <= e.settings.Gate*variance
}

// begin sets a channel's θ to the prior.
func (e *Estimator) begin(c *channel) {
	jump, _ := e.expected(c)
	f, r := e.filter, &c.Resting
	c.forget(f, c.Age)
	f.x[c.at.charge] += jump*c.Unchecked/2 + r.Coulombs - r.Applied
	f.x[c.at.fused] += jump*c.Weighed/2 + r.FusedCoulombs - r.FusedApplied
	f.spread(jump*jump/12, term{c.at.charge, c.Unchecked}, term{c.at.fused, c.Weighed})
	e.noteReopened(c, jump)
	r.pass()
}
