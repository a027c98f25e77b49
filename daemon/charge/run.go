package charge

import "github.com/ampledger/ampledger/daemon/scan"

// stretch is how far a run came and what it leaves for the noise.
type stretch struct {
	end     int     // the last reading reached
	squares float64 // sum of the squared weights of the readings before it, seconds squared
	weight  float64 // the weight of that reading as far as known, seconds
}

// run integrates on from reading k, which has just been taken, as long as each next reading is usable and no gap lies before it. It gives
// the last reading it reached. What all readings of a batch share (offset, zero, noise) is added once for the whole run.
func (a *Account) run(r *scan.Readings, k int) int {
	s := a.regular(r, k)
	if s.end == k {
		s = a.irregular(r, k)
	}
	if s.end == k {
		return k
	}
	nanos := r.At(s.end) - r.At(k)
	time := seconds(nanos)
	a.offset.add(float64(r.Offset * time))
	a.zero.add(float64(r.ZeroAmperes * time))
	a.noise.add(float64(s.squares * float64(r.NoiseAmperes*r.NoiseAmperes)))
	a.counts.DurationNanos += nanos
	a.counts.Readings += uint64(s.end - k)
	last := knotAt(r, s.end)
	last.weight = s.weight
	if last.timing != 0 {
		var squares float64
		squares, last.swing = a.swings(r, k, s.end)
		a.noise.add(float64(squares * float64(last.timing*last.timing)))
	}
	a.last = last
	return s.end
}

// swings gives the sum of the squared swings of the readings from k, the newest knot, up to the end, and the swing of the last as far as known.
func (a *Account) swings(r *scan.Readings, k, end int) (squares, swing float64) {
	form, from := shapeOf(r), r.Amperes[k]
	swing = a.last.swing
	for _, to := range r.Amperes[k+1 : end+1] {
		mean := form.start*from + form.end*to
		swing += from - mean
		squares += float64(swing * swing)
		swing, from = mean-to, to
	}
	return squares, swing
}

// regular integrates the rest of a batch without a fault, in blocks. It comes nowhere if the batch is not of that kind.
func (a *Account) regular(r *scan.Readings, k int) stretch {
	end := r.Len() - 1
	if k == end || !r.Regular() || r.Period > a.limit {
		return stretch{end: k}
	}
	time, form, sums := seconds(r.Period), shapeOf(r), a.current
	sums.add(form.between(split(r.Amperes[k]), split(r.Amperes[end])), time)
	sums.blocks(r.Amperes[k+1:end], time)
	if !sums.finite() {
		return stretch{end: k}
	}
	a.current = sums
	first := a.last.weight + form.start*time
	squares := float64(first*first) + float64(float64(end-k-1)*float64(time*time))
	return stretch{end, squares, form.end * time}
}

// irregular integrates reading by reading up to the first that is not usable or has a gap before it.
func (a *Account) irregular(r *scan.Readings, k int) stretch {
	form, from, at := shapeOf(r), split(r.Amperes[k]), r.At(k)
	s := stretch{end: k, weight: a.last.weight}
	for next := k + 1; next < r.Len() && faults(r, next) == 0; next++ {
		nanos := r.At(next) - at
		if nanos <= 0 || nanos > a.limit {
			break
		}
		time, to := seconds(nanos), split(r.Amperes[next])
		a.current.add(form.between(from, to), time)
		weight := s.weight + form.start*time
		s.squares += float64(weight * weight)
		s.end, s.weight = next, form.end*time
		from, at = to, at+nanos
	}
	return s
}

// shapeOf says what the readings of a batch stand for.
func shapeOf(r *scan.Readings) shape {
	if r.Averaged {
		return rectangle
	}
	return trapezoid
}
