package coulombsoc

import "math"

// The states, in this order.
const (
	stored     = iota // charge stored in the pack, C
	capacity          // charge it holds when full, C
	efficiency        // charge out by charge in that brings it back to where it was
	states
)

type (
	vector [states]float64
	matrix [states]vector
)

// estimate is what the states are taken to be, and what that may be off by: the sum of three errors, of which only the first is of the
// kind a Kalman filter reckons with. Those of gain and zero hang together over marks, so no mark may teach what they are (Schmidt 1966); the
// zero's is kept in two ways, of which the worse counts.
type estimate struct {
	Mean        vector `json:"mean"`
	Independent matrix `json:"independent"` // covariance of what is drawn anew: noise, gaps, marks, what was stated beforehand
	Gain        vector `json:"gain"`        // what one standard deviation of the gain does to each state, the same gain all along
	Zero        vector `json:"zero"`        // likewise the zero, were it as far off all along
	Fresh       matrix `json:"fresh"`       // covariance that the zero causes, were it off anew after each mark
}

// moved is a span of time with what the ledger counted in it.
type moved struct {
	out, in, adjustment float64 // coulombs
	seconds             float64
	noise, gap          float64 // variance, square coulombs; bound, coulombs
	gainedOut, gainedIn float64 // standard uncertainties of out and in from the gain, coulombs
	zero                float64 // standard uncertainty from the zero, coulombs
}

// move lets the states go on over a span. An adjustment is of charge that flowed at some time in one direction or the other: by half it
// counts as out and by half as in, and may be either.
func (e *estimate) move(m *moved, walks *vector) {
	rate := e.Mean[efficiency]
	e.Mean[stored] += -m.out + rate*m.in - m.adjustment*(1+rate)/2
	accepted := m.in - m.adjustment/2
	for _, p := range []*matrix{&e.Independent, &e.Fresh} {
		p.shear(accepted)
	}
	for _, s := range []*vector{&e.Gain, &e.Zero} {
		s[stored] += accepted * s[efficiency]
	}
	either := m.adjustment * (1 - rate) / 2
	e.Independent[stored][stored] += m.noise + (m.gap*m.gap+either*either)/3
	for i, walk := range walks {
		e.Independent[i][i] += walk * walk * m.seconds
	}
	e.Gain[stored] += -m.gainedOut + rate*m.gainedIn
	e.Zero[stored] -= m.zero
	e.Fresh[stored][stored] += m.zero * m.zero
}

// shear adds by times the efficiency's error to that of the charge stored.
func (p *matrix) shear(by float64) {
	for j := range states {
		p[stored][j] += by * p[efficiency][j]
	}
	for i := range states {
		p[i][stored] += by * p[i][efficiency]
	}
	p.tidy()
}

// times gives the scalar product; h is what a measurement, or an output, makes of the states.
func (h *vector) times(v *vector) (sum float64) {
	for i := range h {
		sum += h[i] * v[i]
	}
	return sum
}

// by gives P·h.
func (p *matrix) by(h *vector) (column vector) {
	for i := range p {
		column[i] = p[i].times(h)
	}
	return column
}

// variance of h times the states. The zero's errors after different marks hang together somehow between not at all and wholly: the
// worse of the two is taken.
func (e *estimate) variance(h *vector) float64 {
	independent, fresh := e.Independent.by(h), e.Fresh.by(h)
	gain, zero := h.times(&e.Gain), h.times(&e.Zero)
	return max(0, h.times(&independent)) + gain*gain + max(zero*zero, h.times(&fresh))
}

// measure takes in that h times the states is z, with an error of variance r > 0, in Joseph's form, which is right for any weight. The
// weight is that of a zero that is off the same way all along.
func (e *estimate) measure(h *vector, z, r float64) {
	s := e.variance(h) + r
	gain, zero, innovation := h.times(&e.Gain), h.times(&e.Zero), z-h.times(&e.Mean)
	weight := e.Independent.by(h)
	for i := range weight {
		weight[i] = (weight[i] + gain*e.Gain[i] + zero*e.Zero[i]) / s
	}
	for i := range weight {
		e.Mean[i] += weight[i] * innovation
		e.Gain[i] -= weight[i] * gain
		e.Zero[i] -= weight[i] * zero
	}
	e.Independent.joseph(h, &weight, r)
	e.Fresh.joseph(h, &weight, 0)
}

// joseph makes P into (1 − k·hᵀ)P(1 − k·hᵀ)ᵀ + r·k·kᵀ.
func (p *matrix) joseph(h, k *vector, r float64) {
	var keep matrix // 1 − k·hᵀ
	for i := range keep {
		keep[i][i] = 1
		for j := range keep {
			keep[i][j] -= k[i] * h[j]
		}
	}
	var kept matrix // times P, transposed
	for i := range kept {
		kept[i] = p.by(&keep[i])
	}
	for i := range p {
		for j := range i + 1 {
			p[i][j] = keep[i].times(&kept[j]) + r*(k[i]*k[j])
			p[j][i] = p[i][j]
		}
	}
	p.tidy()
}

// tidy takes back what rounding made larger than the variances allow.
func (p *matrix) tidy() {
	for i := range p {
		p[i][i] = max(0, p[i][i])
		for j := range i {
			allowed := math.Sqrt(p[i][i]) * math.Sqrt(p[j][j])
			p[i][j] = max(-allowed, min(allowed, p[i][j]))
			p[j][i] = p[i][j]
		}
	}
}

// set makes a state share times the capacity plus rest, which is off by the variance r.
func (e *estimate) set(state int, share, rest, r float64) {
	e.Mean[state] = share*e.Mean[capacity] + rest
	for _, p := range []*matrix{&e.Independent, &e.Fresh} {
		for j := range states {
			if j != state {
				p[state][j] = share * p[capacity][j]
				p[j][state] = p[state][j]
			}
		}
		p[state][state] = share * share * p[capacity][capacity]
	}
	e.Independent[state][state] += r
	e.Gain[state], e.Zero[state] = share*e.Gain[capacity], share*e.Zero[capacity]
}

// forget leaves nothing known of a state; a figure set for it later depends on nothing that was learnt before.
func (e *estimate) forget(state int) { e.set(state, 0, 0, 0) }

// size is the sum of all figures' magnitudes.
func (e *estimate) size() (sum float64) {
	for i := range states {
		sum += math.Abs(e.Mean[i]) + math.Abs(e.Gain[i]) + math.Abs(e.Zero[i])
		for j := range states {
			sum += math.Abs(e.Independent[i][j]) + math.Abs(e.Fresh[i][j])
		}
	}
	return sum
}

func finite(v float64) bool { return math.Abs(v) <= math.MaxFloat64 }
