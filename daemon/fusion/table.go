package fusion

import "math"

// table holds the weights of each set of channels for one summary. They are computed when first asked for.
type table struct {
	model
	summary uint64 // counts the summaries, from 1
	rows    []row  // by set
	seen    [MostChannels]difference
}

// row is one set's.
type row struct {
	summary  uint64 // for which it was computed
	weights  vector // 0 outside the set
	variance float64
	statement
}

// statement is what is stated of the fused current.
type statement struct {
	noise float64 // amperes, one reading
	zero  float64 // amperes
	gain  float64 // ratio
}

// largest gives the larger of each.
func (s statement) largest(other statement) statement {
	return statement{max(s.noise, other.noise), max(s.zero, other.zero), max(s.gain, other.gain)}
}

// begin begins a summary.
func (t *table) begin(parts []Part) {
	t.summary++
	t.learn(parts)
}

// of gives a set's row.
func (t *table) of(channels set) *row {
	r := &t.rows[channels]
	if r.summary != t.summary {
		t.settle(r, channels)
		r.summary = t.summary
	}
	return r
}

// settle computes the row of a set.
func (t *table) settle(r *row, channels set) {
	weights, ok := solve(&t.all, channels)
	if !ok {
		r.weights = byDiagonal(&t.all, channels)
		r.variance, r.statement = square(t.linear(&t.all, &r.weights)), t.stateWorst(&r.weights)
	} else if negative(&weights) {
		*r = *t.bestWithoutOne(channels)
		return
	} else {
		r.weights = weights
		r.variance, r.statement = variance(&t.all, &weights), t.state(&weights)
	}
}

// stated gives what is stated of a set: what its row says, wider by what was seen. A set without channel i states no less than the current
// would move, or has moved, without it. One that has the channel is better than that: it is widened only where more was seen than is
// allowed. Without i the best estimate moves by something of the variance v₋ᵢ − v (it hangs together with nothing that it leaves), and what is
// more than the root of that widens the whole by the ratio (Birge), at most to what was seen.
func (t *table) stated(channels set) statement {
	s, all := t.of(channels).statement, t.everything()
	for i := range t.seen {
		d := &t.seen[i]
		if d.square == 0 {
			continue
		}
		beyond := d.beyond(s.gain)
		if allowed := t.of(all.without(i)).variance - t.of(all).variance; channels.has(i) && allowed > 0 && s.zero+s.gain > 0 {
			beyond = min(beyond, s.widened(d, d.square/allowed))
		}
		s.zero = max(s.zero, beyond)
	}
	return s
}

// widened gives the zero with which zero and gain together, at the current of a difference, have so many times their variance.
func (s statement) widened(d *difference, ratio float64) float64 {
	gain := square(s.gain * d.amperes)
	return math.Sqrt(max(0, ratio*(square(s.zero)+gain)-gain))
}

// everything is the set of all channels.
func (t *table) everything() set { return set(len(t.rows) - 1) }

// bestWithoutOne gives the row of least variance among those of the sets with one channel less.
func (t *table) bestWithoutOne(channels set) *row {
	var best *row
	for i := range MostChannels {
		if !channels.has(i) {
			continue
		}
		if r := t.of(channels.without(i)); best == nil || r.variance < best.variance {
			best = r
		}
	}
	return best
}

// state states what the covariances say.
func (m *model) state(w *vector) statement {
	zero := rootSquares(w, &m.zero)
	return statement{
		noise: rootSquares(w, &m.noise), gain: rootSquares(w, &m.gain),
		zero: max(zero, math.Sqrt(max(0, variance(&m.common, w)))),
	}
}

// stateWorst states what holds whatever the covariances are.
func (m *model) stateWorst(w *vector) statement {
	s := m.state(w)
	s.zero = max(s.zero, m.linear(&m.common, w))
	return s
}

// linear gives Σ w·u with u the roots of the diagonal, or what the zeros' own uncertainties say if that is more.
func (m *model) linear(c *matrix, w *vector) (total float64) {
	for i := range w {
		total += float64(w[i] * max(m.zero[i], math.Sqrt(max(0, c[i][i]))))
	}
	return total
}

// rootSquares gives √Σ(w·u)².
func rootSquares(w, u *vector) float64 {
	total := 0.0
	for i := range w {
		total += square(w[i] * u[i])
	}
	return math.Sqrt(total)
}

func negative(w *vector) bool {
	for _, each := range w {
		if each < 0 {
			return true
		}
	}
	return false
}
