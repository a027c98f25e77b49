package budget

import "math"

// Growth is what makes a charge uncertain in the course of time.
type Growth struct {
	Effects                  []Effect
	IntervalSeconds          float64 // between readings, greater than 0
	WalkAmperesPerRootSecond float64 // random walk of the zero: after t seconds it has wandered so much times √t
}

// Care is what is done about it while the charge is counted. The zero value is nothing.
type Care struct {
	RestEverySeconds float64 // 0 = no rests; there is one at the begin, too
	RestSeconds      float64 // how long each of them is
	FloorAmperes     float64 // what no averaging in a rest removes; the same in all of them
	Corrects         bool    // a rest also corrects the charge counted since the rest before it
	MarkEverySeconds float64 // 0 = no marks; there is one at the begin, too
	MarkCoulombs     float64 // standard uncertainty of each of them
}

// Standard is the standard uncertainty of the charge counted for so long at a constant current, just before the next rest and the next mark would be.
// The net charge may be less than current times time, where a pack is charged and discharged in turn; limit bounds it (+Inf = it is never less).
func (g Growth) Standard(amperes, seconds, limitCoulombs float64, care Care) float64 {
	alone := g.between(amperes, seconds, limitCoulombs, care)
	if care.MarkEverySeconds == 0 || seconds < care.MarkEverySeconds {
		return alone
	}
	since := g.between(amperes, care.MarkEverySeconds, limitCoulombs, care)
	since = min(since, g.learned(amperes, limitCoulombs, care))
	return min(alone, math.Hypot(math.Sqrt2*care.MarkCoulombs, since))
}

// between is the uncertainty of what is counted without a mark.
func (g Growth) between(amperes, seconds, limit float64, care Care) float64 {
	if care.RestEverySeconds == 0 {
		return math.Hypot(g.lines(amperes, seconds, limit, true), g.walk(seconds))
	}
	return math.Hypot(g.lines(amperes, seconds, limit, false), g.rested(seconds, care))
}

// lines adds up the effects; those that are a constant zero only where no rest shows it. A wrong gain is still wrong after a rest.
func (g Growth) lines(amperes, seconds, limit float64, zeros bool) (combined float64) {
	for _, e := range g.Effects {
		if !zeros && !e.Independent && !e.Hidden {
			e.Constant = 0
		}
		combined = math.Hypot(combined, e.Charge(seconds, net(amperes, seconds, limit), g.IntervalSeconds).Amount())
	}
	return combined
}

func net(amperes, seconds, limit float64) float64 {
	return math.Copysign(min(math.Abs(amperes)*seconds, limit), amperes)
}

// walk is what a random walk adds to an integral: √(q·t³/3) (IEEE Std 952 Annex C: rate random walk).
func (g Growth) walk(seconds float64) float64 {
	return g.WalkAmperesPerRootSecond * math.Sqrt(seconds*seconds*seconds/3)
}

// rested is what is left of the zero's error where rests show it. From a rest on the zero is held: its error is that of the rest's mean and what has
// walked since. With Corrects, all but the last such span lie between two rests, on the straight line between which the walk leaves √(q·T³/12), a
// quarter of the variance.
func (g Growth) rested(seconds float64, care Care) float64 {
	span := min(seconds, care.RestEverySeconds)
	spans := seconds / span
	mean := g.restMean(care)
	held := mean*mean*span*span + square(g.walk(span))
	variance := spans * held
	if care.Corrects {
		variance = held + (spans-1)*(mean*mean*span*span+square(g.walk(span))/4)
	}
	return math.Hypot(math.Sqrt(variance), care.FloorAmperes*seconds)
}

// restMean is the standard uncertainty of a rest's mean by its noise.
func (g Growth) restMean(care Care) (mean float64) {
	for _, e := range g.Effects {
		if e.Independent {
			mean = math.Hypot(mean, e.At(0).Amount())
		}
	}
	return mean * math.Sqrt(g.IntervalSeconds/max(care.RestSeconds, g.IntervalSeconds))
}

// learned is the uncertainty of what is counted from one mark to the next with the mean zero of the two marks before: theirs, noise of both spans,
// and what a walk does to the difference of two integrals side by side, √(2·q·T³/3).
func (g Growth) learned(amperes, limit float64, care Care) float64 {
	t := care.MarkEverySeconds
	noise := g.lines(amperes, t, limit, false)
	return math.Sqrt(2*square(care.MarkCoulombs) + 2*square(noise) + 2*square(g.walk(t)))
}

func square(v float64) float64 { return v * v }
