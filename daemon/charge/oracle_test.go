package charge_test

import (
	"math/big"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/scan"
)

// point is one usable reading of the oracle, with what happened since the one before.
type point struct {
	*scan.Readings
	k      int
	causes charge.Cause
}

// oracle counts batches the slow, obvious way: one list of usable readings, then one interval after the other in numbers so long that
// nothing is rounded until the end.
func oracle(config charge.Config, batches []*scan.Readings) (charge.Totals, []charge.Gap) {
	var o ledger
	points := o.usable(batches)
	for i, to := range points {
		o.totals.GainRatio = max(o.totals.GainRatio, to.GainRatio)
		if i > 0 {
			o.interval(config, points[i-1], to)
			continue
		}
		o.first(to)
	}
	o.totals.NoiseSquareCoulombs = o.variance(points)
	return o.finish(config), o.gaps
}

// ledger is what the oracle writes down.
type ledger struct {
	totals                     charge.Totals
	gaps                       []charge.Gap
	positive, negative, square big.Float
	offset, zero               big.Float
	weights                    map[int]*big.Float // seconds each usable reading stands for
	means                      []*big.Float       // amperes taken for each interval between usable readings
	count                      int                // usable readings so far
}

// usable lists the usable readings and counts all others.
func (o *ledger) usable(batches []*scan.Readings) (points []point) {
	var pending charge.Cause
	var next uint64
	for i, r := range batches {
		if i > 0 && r.Sequence > next {
			o.totals.Lost += r.Sequence - next
			pending |= charge.Lost
		}
		next = r.Sequence + uint64(r.Len())
		for k := range r.Amperes {
			quality := r.QualityAt(k)
			pending |= charge.Cause(quality)
			if quality == 0 {
				points, pending = append(points, point{r, k, pending}), 0
			}
			for bit := range scan.Causes {
				o.totals.Unusable[bit] += uint64(quality >> bit & 1)
			}
		}
	}
	o.totals.Readings = uint64(len(points))
	return points
}

// first opens the totals; a mean stands for the period before it.
func (o *ledger) first(p point) {
	o.weights = map[int]*big.Float{0: exact(0)}
	var nanos int64
	if p.Averaged {
		nanos = p.Period
	}
	o.totals.FirstSequence = p.Sequence + uint64(p.k)
	o.totals.FromMonotonic, o.totals.FromWall = p.At(p.k)-nanos, p.WallAt(p.k)-nanos
	o.stand(p, 0, nanos, 1)
	o.totals.DurationNanos = nanos
}

// interval integrates between two usable readings.
func (o *ledger) interval(config charge.Config, from, to point) {
	o.count++
	o.weights[o.count] = exact(0)
	nanos, causes := to.At(to.k)-from.At(from.k), to.causes
	if from.Epoch != to.Epoch {
		nanos, causes = max(0, to.WallAt(to.k)-from.WallAt(from.k)), causes|charge.Restart
	}
	if config.GapNanos > 0 && nanos > config.GapNanos {
		causes |= charge.Silence
	}
	gap := causes&^charge.Cause(scan.TimeRepeated|scan.TimeBackwards) != 0
	if gap {
		o.gap(config, from, to, nanos, causes)
	}
	half := 0.5
	if to.Averaged && !gap {
		half = 0
	}
	o.stand(from, o.count-1, nanos, half)
	o.stand(to, o.count, nanos, 1-half)
	o.means = append(o.means, new(big.Float).Add(product(exact(half), exact(from.Amperes[from.k])), product(exact(1-half), exact(to.Amperes[to.k]))))
	o.totals.DurationNanos += nanos
}

// stand lets a reading stand for a part of an interval.
func (o *ledger) stand(p point, index int, nanos int64, part float64) {
	time := product(span(nanos), exact(part))
	x := p.Amperes[p.k]
	increase(&o.positive, time, exact(max(x, 0)))
	increase(&o.negative, time, exact(max(-x, 0)))
	increase(&o.square, time, product(exact(x), exact(x)))
	increase(&o.offset, time, exact(p.Offset))
	increase(&o.zero, time, exact(p.ZeroAmperes))
	o.weights[index].Add(o.weights[index], time)
}

// gap writes one gap down.
func (o *ledger) gap(config charge.Config, from, to point, nanos int64, causes charge.Cause) {
	bound, sign := config.BoundAmperes, 0.5
	if causes&charge.Cause(scan.Saturated|scan.OutOfRange) != 0 {
		bound = config.SaturatedBoundAmperes
	}
	if config.ChargeIsPositive {
		sign = -0.5
	}
	mean := product(exact(sign), new(big.Float).Add(exact(from.Amperes[from.k]), exact(to.Amperes[to.k])))
	g := charge.Gap{
		BeforeSequence: from.Sequence + uint64(from.k), AfterSequence: to.Sequence + uint64(to.k), Causes: causes,
		FromWall: from.WallAt(from.k), FromMonotonic: from.At(from.k), DurationNanos: nanos,
		AssumedNetMicrocoulombs: micro(product(mean, span(nanos))), BoundMicrocoulombs: micro(product(exact(bound), span(nanos))),
	}
	o.gaps = append(o.gaps, g)
	o.totals.GapCount++
	o.totals.GapNanos += nanos
	o.totals.GapAssumedNetMicrocoulombs += g.AssumedNetMicrocoulombs
	o.totals.GapBoundMicrocoulombs += g.BoundMicrocoulombs
}

// variance is the sum of the squares of weight times noise, and of swing times uncertainty of the time: a reading that is really a second
// late has made the interval before it too short by a second of its mean, and the one after too long. Beyond the ends the current stays.
func (o *ledger) variance(points []point) float64 {
	var sum big.Float
	for i, p := range points {
		c := product(o.weights[i], exact(p.NoiseAmperes))
		increase(&sum, c, c)
		before, after := exact(p.Amperes[p.k]), exact(p.Amperes[p.k])
		if i > 0 {
			before = o.means[i-1]
		}
		if i < len(o.means) {
			after = o.means[i]
		}
		moved := product(new(big.Float).Sub(before, after), span(p.Uncertainty))
		increase(&sum, moved, moved)
	}
	value, _ := sum.Float64()
	return value
}

// finish rounds the sums.
func (o *ledger) finish(config charge.Config) charge.Totals {
	t := o.totals
	t.OutMicrocoulombs, t.InMicrocoulombs, t.OffsetMicrocoulombs = micro(&o.positive), micro(&o.negative), micro(&o.offset)
	if config.ChargeIsPositive {
		t.OutMicrocoulombs, t.InMicrocoulombs, t.OffsetMicrocoulombs = t.InMicrocoulombs, t.OutMicrocoulombs, -t.OffsetMicrocoulombs
	}
	t.SquareAmpereSeconds, _ = o.square.Float64()
	t.ZeroCoulombs, _ = o.zero.Float64()
	return t
}

// precision holds any product and sum of the tests without rounding that shows.
const precision = 400

func exact(x float64) *big.Float { return new(big.Float).SetPrec(precision).SetFloat64(x) }

func product(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(precision).Mul(a, b) }

func increase(sum, a, b *big.Float) { sum.SetPrec(precision).Add(sum, product(a, b)) }

// span converts nanoseconds to seconds.
func span(nanos int64) *big.Float {
	return new(big.Float).SetPrec(precision).Quo(new(big.Float).SetPrec(precision).SetInt64(nanos), exact(1e9))
}

// micro rounds coulombs to the nearest microcoulomb.
func micro(coulombs *big.Float) int64 {
	scaled := product(coulombs, exact(1e6))
	half := exact(0.5)
	if scaled.Sign() < 0 {
		half.Neg(half)
	}
	whole, _ := scaled.Add(scaled, half).Int64()
	return whole
}
