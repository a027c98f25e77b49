package physics

// Hysteresis is a model of the remanence of a magnetic channel.
type Hysteresis interface {
	// Start gives a core that has not been magnetised yet. It changes nothing in the model.
	Start() Core
}

// Core is the state of one core.
type Core interface {
	// Advance moves the current to a new value and gives the error of the reading there, in amperes. It depends on the values that the
	// current went through and not on how fast, and a value repeated changes nothing.
	Advance(amperes float64) (errorAmperes float64)
}

// Operator is one play operator, of half-width r and weight w.
//
// Its play p follows the current I once the gap is used up, p = max(I−r, min(I+r, p)), and its error is w·z with z = (I−p)/r, which
// stays within −1 to 1. The current rising puts z to 1, falling to −1; so after an excursion upwards of 2·r or more and back to zero
// the error is −w, and the weight of a core that keeps the direction of the current that has flowed, as iron does, is below zero.
type Operator struct {
	HalfWidthAmperes float64 // r, above zero
	WeightAmperes    float64 // w
}

// Play is a hysteresis that is the sum of play operators; not magnetised yet, they all stand at p = 0.
type Play []Operator

// Start implements Hysteresis.
func (p Play) Start() Core { return &playCore{operators: p, at: make([]float64, len(p))} }

// Remanent gives operators that leave remanenceAmperes of error after an excursion from zero to plus full scale and back: four of
// equal weight, of half-widths 2 %, 5 %, 10 % and 20 % of full scale.
func Remanent(remanenceAmperes, fullScaleAmperes float64) Play {
	shares := [...]float64{0.02, 0.05, 0.1, 0.2}
	var all Play
	for _, share := range shares {
		all = append(all, Operator{HalfWidthAmperes: share * fullScaleAmperes, WeightAmperes: -remanenceAmperes / float64(len(shares))})
	}
	return all
}

type playCore struct {
	operators Play
	at        []float64 // p of each
}

func (c *playCore) Advance(amperes float64) (sum float64) {
	for i, o := range c.operators {
		r, p := o.HalfWidthAmperes, c.at[i]
		p = max(amperes-r, min(amperes+r, p))
		c.at[i] = p
		sum += float64(o.WeightAmperes * min(max((amperes-p)/r, -1), 1))
	}
	return sum
}
