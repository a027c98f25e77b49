package biasfilter

import "math"

// window gathers a channel's readings under load until they are compared with another channel's.
type window struct {
	Seconds   float64   `json:"seconds"`
	Coulombs  float64   `json:"coulombs"`
	Count     float64   `json:"count"`
	Regressor []float64 `json:"regressors"` // ∫ of T − T₀, of z, and of the current as far as is known
	First     int64     `json:"first_nanos"`
	Last      int64     `json:"last_nanos"`
	Least     float64   `json:"least_amperes"`
	Greatest  float64   `json:"greatest_amperes"`
}

func (w *window) clear() {
	clear(w.Regressor)
	*w = window{Regressor: w.Regressor}
}

// gather adds the newest summary.
func (c *channel) gather(f *filter) {
	w, n := &c.Window, &c.now
	if w.Seconds == 0 {
		w.First, w.Least, w.Greatest = c.Last-int64(n.seconds*1e9), n.least, n.greatest
	}
	w.Last, w.Least, w.Greatest = c.Last, min(w.Least, n.least), max(w.Greatest, n.greatest)
	w.Seconds += n.seconds
	w.Coulombs += n.coulombs
	w.Count += n.count
	for i, r := range c.Regressor {
		w.Regressor[i] += r * n.seconds
	}
	offset, _ := f.value(c.offset)
	w.Regressor[len(c.Regressor)] += n.coulombs - offset*n.seconds
}

// differ compares the channels under load where their windows are long enough. A rest and a hole begin them anew: a rest says more, and what
// passed in a hole differs from channel to channel.
func (e *Estimator) differ(believed bool) {
	if len(e.channels) < 2 {
		return
	}
	for _, c := range e.taken {
		if believed || !c.now.whole || !c.now.follows {
			e.clearWindows()
			return
		}
		c.gather(e.filter)
	}
	if !e.windowsFull() {
		return
	}
	var first *channel
	for _, c := range e.channels {
		switch {
		case c.Window.Seconds < e.settings.DifferenceSeconds:
		case first == nil:
			first = c
		default:
			e.compare(first, c)
		}
	}
	e.clearWindows()
}

func (e *Estimator) clearWindows() {
	for _, c := range e.channels {
		c.Window.clear()
	}
}

// windowsFull waits for the channels of other devices, though not for ever.
func (e *Estimator) windowsFull() bool {
	least, greatest := math.Inf(1), 0.0
	for _, c := range e.channels {
		least, greatest = min(least, c.Window.Seconds), max(greatest, c.Window.Seconds)
	}
	return least >= e.settings.DifferenceSeconds || greatest >= 2*e.settings.DifferenceSeconds
}

// compare measures ȳ_a − ȳ_b = φ̄_aᵀθ_a − φ̄_bᵀθ_b. Where the two windows do not begin and end together, they may differ by as much as
// the readings varied, for that part of the time.
func (e *Estimator) compare(a, b *channel) {
	u, v := &a.Window, &b.Window
	seconds := min(u.Seconds, v.Seconds)
	skew := (math.Abs(float64(u.First-v.First)) + math.Abs(float64(u.Last-v.Last))) * 1e-9
	if skew > seconds {
		return // hardly of the same time, or clocks that have nothing to do with each other
	}
	apart := skew / seconds * (max(u.Greatest, v.Greatest) - min(u.Least, v.Least))
	floor := differenceFloor(&a.figures, &b.figures, seconds, e.settings.DifferenceFloorAmperes)
	variance := floor*floor + apart*apart + a.noise*a.noise/u.Count + b.noise*b.noise/v.Count + (a.density*u.Seconds+b.density*v.Seconds)/3
	current := (u.current() + v.current()) / 2 // the same for both: what is wrong with all gains alike no difference shows
	e.form = b.windowForm(a.windowForm(e.form[:0], 1, current), -1, current)
	difference := u.Coulombs/u.Seconds - v.Coulombs/v.Seconds
	expected, s := e.filter.value(e.form)
	innovation := difference - expected
	if innovation*innovation > e.settings.Gate*(s+variance) {
		e.noteDisagree(a, b, difference, expected, math.Sqrt(s+variance))
		return
	}
	e.memory.Disagree = false
	e.filter.update(e.form, difference, variance)
}

// current is the mean that flowed, as far as is known.
func (w *window) current() float64 { return w.Regressor[len(w.Regressor)-1] / w.Seconds }

// windowForm appends φ̄ᵀθ over a channel's window, in which a current flowed.
func (c *channel) windowForm(form []term, sign, current float64) []term {
	w := &c.Window
	form = append(form, term{c.at.zero, sign})
	for i := range c.Regressor {
		form = append(form, term{c.at.zero + 1 + i, sign * w.Regressor[i] / w.Seconds})
	}
	return append(form, term{c.at.gain, sign * current})
}
