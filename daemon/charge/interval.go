package charge

import "github.com/ampledger/ampledger/daemon/scan"

// take counts reading k and integrates the interval that ends with it. It tells whether the reading was usable.
func (a *Account) take(r *scan.Readings, k int) bool {
	if quality := faults(r, k); quality != 0 {
		a.refuse(quality)
		return false
	}
	to := knotAt(r, k)
	a.counts.GainRatio = max(a.counts.GainRatio, r.GainRatio)
	if !a.began {
		a.resume(&to)
		a.begin(&to, r)
		return true
	}
	nanos, causes := a.since(&to)
	if nanos <= 0 && causes&Restart == 0 {
		a.refuse(stopped(nanos))
		return false
	}
	form := shapeOf(r)
	if causes.hides() {
		form = trapezoid
		a.note(&to, nanos, causes)
	}
	a.join(&to, form, nanos)
	return true
}

// faults gives what makes reading k unusable.
func faults(r *scan.Readings, k int) scan.Quality {
	quality := r.QualityAt(k)
	if quality == 0 && !finite(r.Amperes[k]) {
		return scan.NotFinite
	}
	return quality
}

// stopped names a time that did not advance.
func stopped(nanos int64) scan.Quality {
	if nanos < 0 {
		return scan.TimeBackwards
	}
	return scan.TimeRepeated
}

// refuse counts an unusable reading.
func (a *Account) refuse(quality scan.Quality) {
	for i, bit := range scan.Causes {
		if quality&bit != 0 {
			a.counts.Unusable[i]++
		}
	}
	a.pending |= Cause(quality)
}

// knotAt gives reading k.
func knotAt(r *scan.Readings, k int) knot {
	return knot{
		epoch: r.Epoch, sequence: r.Sequence + uint64(k), wall: r.WallAt(k), monotonic: r.At(k),
		parts: split(r.Amperes[k]), offset: r.Offset, zero: r.ZeroAmperes, noise: r.NoiseAmperes, timing: seconds(r.Uncertainty),
	}
}

// begin opens the account at its first usable reading, or one period earlier if that reading is a mean over a known period.
func (a *Account) begin(first *knot, r *scan.Readings) {
	var nanos int64
	if r.Averaged {
		nanos = max(0, r.Period)
	}
	a.counts.FirstSequence = first.sequence
	a.counts.FromWall, a.counts.FromMonotonic = first.wall-nanos, first.monotonic-nanos
	a.join(first, rectangle, nanos)
	a.began = true
}

// resume counts the gap from the end of an account before this one.
func (a *Account) resume(first *knot) {
	before := a.config.After
	if before == nil {
		return
	}
	nanos, causes := max(0, first.wall-before.Wall), a.pending|Restart
	a.counts.DurationNanos += nanos
	a.counts.AwayNanos += nanos
	a.away = &Gap{
		BeforeSequence: before.Sequence, AfterSequence: first.sequence, FromWall: before.Wall, DurationNanos: nanos, Causes: causes,
		BoundMicrocoulombs: microcoulombs(a.config.bound(causes) * seconds(nanos)),
	}
	a.keep(*a.away)
}

// since gives the time since the last usable reading and whatever makes it a gap.
func (a *Account) since(to *knot) (nanos int64, causes Cause) {
	nanos, causes = to.monotonic-a.last.monotonic, a.pending
	if to.epoch != a.last.epoch {
		nanos = max(0, to.wall-a.last.wall)
		causes |= Restart
	}
	if nanos > a.limit {
		causes |= Silence
	}
	return nanos, causes
}

// join integrates the interval from the last usable reading to this one, which takes its place.
func (a *Account) join(to *knot, form shape, nanos int64) {
	time, from := seconds(nanos), &a.last
	mean := form.between(from.parts, to.parts)
	a.current.add(mean, time)
	from.swing += from.parts.net() - mean.net()
	to.swing = mean.net() - to.parts.net()
	a.offset.add(float64((form.start*from.offset + form.end*to.offset) * time))
	a.zero.add(float64((form.start*from.zero + form.end*to.zero) * time))
	from.weight += form.start * time
	a.noise.add(from.variance())
	to.weight = form.end * time
	a.last, a.pending = *to, 0
	a.counts.Readings++
	a.counts.DurationNanos += nanos
}

// note counts the gap from the last usable reading.
func (a *Account) note(to *knot, nanos int64, causes Cause) {
	time := seconds(nanos)
	mean := trapezoid.between(a.last.parts, to.parts)
	a.keep(Gap{
		BeforeSequence: a.last.sequence, AfterSequence: to.sequence,
		FromWall: a.last.wall, FromMonotonic: a.last.monotonic, DurationNanos: nanos, Causes: causes,
		AssumedNetMicrocoulombs: microcoulombs(a.config.sign() * (mean.positive - mean.negative) * time),
		BoundMicrocoulombs:      microcoulombs(a.config.bound(causes) * time),
	})
}

func (a *Account) keep(gap Gap) {
	a.counts.GapCount++
	a.counts.GapNanos += gap.DurationNanos
	a.counts.GapAssumedNetMicrocoulombs += gap.AssumedNetMicrocoulombs
	a.counts.GapBoundMicrocoulombs += gap.BoundMicrocoulombs
	a.longest.keep(gap)
}

// variance is what the noise of the reading and the error of its time add to the variance of the charge, in coulombs squared.
func (k *knot) variance() float64 {
	charge, moved := k.weight*k.noise, k.swing*k.timing
	return float64(charge*charge) + float64(moved*moved)
}
