package service

import (
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// reducer gathers one channel's readings to buckets. A bucket ends at the first reading at or behind a multiple of the interval, in
// device time, so that buckets of channels of one device end together, and wherever a subscriber begins.
//
// Buckets join at usable readings: the last one of a bucket is where the next begins, so that means times durations add up to the exact
// trapezoidal integral; what is unusable or lost in between is bridged in a straight line. Where a new time base begins, nothing
// joins. A bucket without a usable reading has no duration, and NaN for its amperes.
type reducer struct {
	channel  string
	interval int64 // ns
	give     func(*ampledgerv1.Bucket) error

	epoch uint64
	timed bool  // due is known
	due   int64 // time at or behind which the open bucket ends
	begun bool  // there was a usable reading
	last  knot  // it

	bucket   *ampledgerv1.Bucket // open; nil = none
	integral float64             // ampere nanoseconds
	noise    float64             // its variance from what is independent from reading to reading, without last
	weight   float64             // ns that last stands for in the open bucket
	zero     float64             // amperes
	gain     float64
}

// knot is a usable reading.
type knot struct {
	time           int64
	amperes, noise float64
}

// untimed are the causes that leave a reading without a time that can be relied on.
const untimed = scan.TimeRepeated | scan.TimeBackwards

func newReducer(channel string, rate float64, give func(*ampledgerv1.Bucket) error) *reducer {
	r := &reducer{channel: channel, interval: math.MaxInt64, give: give}
	if interval := math.Ceil(1e9 / rate); interval < math.MaxInt64 {
		r.interval = int64(interval)
	}
	return r
}

// add takes a frame and gives each bucket it completes.
func (r *reducer) add(f *ampledgerv1.Frame, epoch uint64) error {
	if epoch != r.epoch {
		if err := r.finish(); err != nil {
			return err
		}
		r.epoch, r.timed, r.begun = epoch, false, false
	}
	for k := range f.GetCurrentAmperes() {
		r.take(f, k)
		if r.ends(f, k) {
			if err := r.finish(); err != nil {
				return err
			}
		}
	}
	return nil
}

// join lets what follows join on the first n readings of a frame, which belong to no bucket.
func (r *reducer) join(f *ampledgerv1.Frame, epoch uint64, n int) {
	r.epoch = epoch
	for k := range n {
		r.ends(f, k)
		if qualityAt(f, k) == 0 {
			r.begun, r.last = true, knot{timeAt(f, k), f.GetCurrentAmperes()[k], f.GetNoiseAmperes()}
		}
	}
}

// ends moves the clock to reading k and tells whether a bucket ends with it.
func (r *reducer) ends(f *ampledgerv1.Frame, k int) bool {
	if qualityAt(f, k)&untimed != 0 {
		return false
	}
	now := timeAt(f, k)
	ends := r.timed && now >= r.due
	if ends || !r.timed {
		r.timed, r.due = true, multipleBehind(now, r.interval)
	}
	return ends
}

// take counts reading k.
func (r *reducer) take(f *ampledgerv1.Frame, k int) {
	now, sequence := timeAt(f, k), f.GetFirstSequence()+uint64(k)
	if r.bucket == nil {
		r.bucket = &ampledgerv1.Bucket{
			Channel: r.channel, FirstSequence: sequence, FirstWallNanos: f.GetFirstWallNanos() + now - f.GetFirstMonotonicNanos(),
			FirstMonotonicNanos: now, MinimumAmperes: math.NaN(), MaximumAmperes: math.NaN(),
		}
		r.integral, r.noise, r.weight = 0, 0, 0
	}
	r.bucket.LastSequence = sequence
	r.bucket.OffsetAmperes = f.GetOffsetAmperes()
	r.zero, r.gain = f.GetZeroUncertaintyAmperes(), f.GetGainUncertaintyRatio()
	if qualityAt(f, k) != 0 {
		r.bucket.UnusableCount++
		return
	}
	r.usable(knot{now, f.GetCurrentAmperes()[k], f.GetNoiseAmperes()})
}

// usable adds the interval that ends with a usable reading.
func (r *reducer) usable(next knot) {
	b := r.bucket
	if b.GetReadingCount() == 0 {
		b.MinimumAmperes, b.MaximumAmperes = next.amperes, next.amperes
		if r.begun && r.last.time < next.time { // it begins where the one before ended
			b.FirstWallNanos -= b.GetFirstMonotonicNanos() - r.last.time
			b.FirstMonotonicNanos = r.last.time
		}
	}
	b.ReadingCount++
	b.MinimumAmperes, b.MaximumAmperes = min(b.MinimumAmperes, next.amperes), max(b.MaximumAmperes, next.amperes)
	if nanos := next.time - r.last.time; r.begun && nanos > 0 {
		b.DurationNanos += nanos
		r.integral += float64(nanos) * (r.last.amperes/2 + next.amperes/2)
		r.noise += square((r.weight + float64(nanos)/2) * r.last.noise)
		r.weight = float64(nanos) / 2
	}
	r.begun, r.last = true, next
}

// finish gives the open bucket, if there is one.
func (r *reducer) finish() error {
	b := r.bucket
	if b == nil {
		return nil
	}
	r.bucket = nil
	mean, noise := math.NaN(), math.NaN()
	switch nanos := float64(b.GetDurationNanos()); {
	case nanos > 0:
		mean, noise = r.integral/nanos, math.Sqrt(r.noise+square(r.weight*r.last.noise))/nanos
	case b.GetReadingCount() > 0:
		mean, noise = r.last.amperes, r.last.noise
	}
	b.MeanAmperes = mean
	b.StandardUncertaintyAmperes = math.Hypot(noise, math.Hypot(r.zero, r.gain*mean))
	return r.give(b)
}

func square(x float64) float64 { return x * x }

// multipleBehind gives the first multiple of the interval behind a time, or the last time there is.
func multipleBehind(now, interval int64) int64 {
	rest := now % interval
	if rest < 0 {
		rest += interval
	}
	if step := interval - rest; now <= math.MaxInt64-step {
		return now + step
	}
	return math.MaxInt64
}

func timeAt(f *ampledgerv1.Frame, k int) int64 {
	if f.GetPeriodNanos() == 0 {
		return f.GetFirstMonotonicNanos() + f.GetOffsetNanos()[k]
	}
	return f.GetFirstMonotonicNanos() + int64(k)*f.GetPeriodNanos()
}

func qualityAt(f *ampledgerv1.Frame, k int) scan.Quality {
	if len(f.GetQualityBits()) == 0 {
		return 0
	}
	return scan.Quality(f.GetQualityBits()[k])
}
