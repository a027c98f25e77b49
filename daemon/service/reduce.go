package service

import (
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// reducer gathers one channel's readings to buckets of at least a given duration. Buckets join at readings: the last reading of one
// is where the next begins, so that bucket means times durations add up to the exact trapezoidal integral, gaps bridged in a straight line.
type reducer struct {
	channel string
	nanos   int64

	begun    bool
	lastTime int64
	lastI    float64
	bucket   *ampledgerv1.Bucket
	integral float64 // ampere nanoseconds
	weights  float64 // sum of squared weights of the noise, A²·ns²
	zero     float64 // amperes
	gain     float64
}

func newReducer(channel string, rate float64) *reducer {
	return &reducer{channel: channel, nanos: int64(math.Ceil(1e9 / rate))}
}

// add takes a frame and gives each bucket it completes.
func (r *reducer) add(f *ampledgerv1.Frame, give func(*ampledgerv1.Bucket) error) error {
	for k, current := range f.GetCurrentAmperes() {
		offset := int64(k) * f.GetPeriodNanos()
		if f.GetPeriodNanos() == 0 {
			offset = f.GetOffsetNanos()[k]
		}
		if len(f.GetQualityBits()) > 0 && scan.Quality(f.GetQualityBits()[k]) != 0 {
			r.unusable(f, uint64(k), offset)
			continue
		}
		if err := r.reading(f, uint64(k), offset, current, give); err != nil {
			return err
		}
	}
	return nil
}

// open begins a bucket at a reading of f.
func (r *reducer) open(f *ampledgerv1.Frame, k uint64, offset int64) {
	if r.bucket != nil {
		return
	}
	start := offset
	if r.begun && r.lastTime <= f.GetFirstMonotonicNanos()+offset {
		start = r.lastTime - f.GetFirstMonotonicNanos()
	}
	r.bucket = &ampledgerv1.Bucket{
		Channel: r.channel, FirstSequence: f.GetFirstSequence() + k, FirstWallNanos: f.GetFirstWallNanos() + start,
		FirstMonotonicNanos: f.GetFirstMonotonicNanos() + start, MinimumAmperes: math.Inf(1), MaximumAmperes: math.Inf(-1),
	}
	r.integral, r.weights = 0, 0
}

func (r *reducer) unusable(f *ampledgerv1.Frame, k uint64, offset int64) {
	r.open(f, k, offset)
	r.bucket.UnusableCount++
	r.bucket.LastSequence = f.GetFirstSequence() + k
}

func (r *reducer) reading(f *ampledgerv1.Frame, k uint64, offset int64, current float64, give func(*ampledgerv1.Bucket) error) error {
	r.open(f, k, offset)
	now := f.GetFirstMonotonicNanos() + offset
	b := r.bucket
	if interval := now - r.lastTime; r.begun && interval > 0 {
		r.integral += float64(interval) * (r.lastI + current) / 2
		weight := float64(interval) * f.GetNoiseAmperes()
		r.weights += weight * weight
		b.DurationNanos += interval
	}
	b.LastSequence = f.GetFirstSequence() + k
	b.ReadingCount++
	b.MinimumAmperes, b.MaximumAmperes = min(b.MinimumAmperes, current), max(b.MaximumAmperes, current)
	b.OffsetAmperes = f.GetOffsetAmperes()
	r.zero, r.gain = f.GetZeroUncertaintyAmperes(), f.GetGainUncertaintyRatio()
	r.begun, r.lastTime, r.lastI = true, now, current
	if b.GetDurationNanos() < r.nanos {
		return nil
	}
	return r.finish(give)
}

// finish gives the open bucket, if there is one with a reading.
func (r *reducer) finish(give func(*ampledgerv1.Bucket) error) error {
	b := r.bucket
	if b == nil || b.GetReadingCount() == 0 {
		return nil
	}
	r.bucket = nil
	b.MeanAmperes = r.lastI
	noise := 0.0
	if b.GetDurationNanos() > 0 {
		b.MeanAmperes = r.integral / float64(b.GetDurationNanos())
		noise = math.Sqrt(r.weights) / float64(b.GetDurationNanos())
	}
	b.StandardUncertaintyAmperes = math.Hypot(noise, math.Hypot(r.zero, r.gain*b.GetMeanAmperes()))
	return give(b)
}
