package sensor

import (
	"math"
	"slices"

	"github.com/ampledger/ampledger/daemon/scan"
)

// Apply converts the channel's column of f and fills all of r, with no estimate applied. r.Raw may share the memory of f; the other
// slices belong to the Sensor and hold until its next Apply.
func (s *Sensor) Apply(f *scan.Frame, r *scan.Readings) {
	column := &f.Columns[s.Input]
	r.Clock = f.Clock
	r.Averaged = s.Averaged
	r.NoiseAmperes, r.RoundingAmperes, r.ZeroAmperes, r.GainRatio = s.noise, s.rounding, s.zero, s.GainRatio
	r.Estimate = scan.Estimate{Age: -1}
	r.Raw = s.expand(column, f.Count)
	s.amperes = slices.Grow(s.amperes[:0], f.Count)[:f.Count]
	r.Amperes = s.amperes
	fixed, constant := s.constantLine(f)
	if !constant || f.Flags != nil || column.Flags != nil || !s.straight(r, fixed) {
		s.readingByReading(f, column, r)
	}
}

// expand gives the column as one value a scan.
func (s *Sensor) expand(column *scan.Column, count int) []float64 {
	if len(column.Values) == count {
		return column.Values
	}
	s.raw = slices.Grow(s.raw[:0], count)[:count]
	for k := range s.raw {
		s.raw[k] = column.Values[0]
	}
	return s.raw
}

// constantLine gives the line of the whole frame, if there is one.
func (s *Sensor) constantLine(f *scan.Frame) (fixed line, constant bool) {
	if s.Heating != nil {
		return line{}, false
	}
	celsius, supply := s.Model.reference()
	for _, aux := range [...]struct {
		input int
		value *float64
	}{{s.Temperature, &celsius}, {s.Supply, &supply}} {
		if aux.input == None {
			continue
		}
		column := &f.Columns[aux.input]
		if len(column.Values) != 1 || column.Flags != nil || !isFinite(column.Values[0]) {
			return line{}, false
		}
		*aux.value = column.Values[0]
	}
	if s.Temperature == None && s.Supply == None {
		return s.fixed, true
	}
	fixed = s.lineAt(celsius, supply)
	return fixed, fixed.follows(s.fixed)
}

// straight converts a batch with one line and tells whether every reading is good; if not, the caller does it again with care.
func (s *Sensor) straight(r *scan.Readings, l line) bool {
	if len(r.Raw) == 0 {
		return false
	}
	lo, hi, finite := l.convert(r.Raw, r.Amperes)
	if !finite || s.RangeKnown && (lo <= s.MinimumRaw || hi >= s.MaximumRaw) {
		return false
	}
	// A rounded line is still monotonic, so its extremes are those of the raw values.
	r.Minimum, r.Maximum = l.at(lo), l.at(hi)
	if l.slope < 0 {
		r.Minimum, r.Maximum = r.Maximum, r.Minimum
	}
	if s.isBent && !s.unbend(r.Amperes, &r.Minimum, &r.Maximum) {
		return false
	}
	r.Usable, r.Quality, r.Causes = len(r.Amperes), nil, 0
	return r.Minimum >= -s.limit && r.Maximum <= s.limit
}

// convert takes raw values, of which there is one at least, to amperes and gives the extremes of the raw ones. A value that is not a
// number lies between no bounds, so one comparison a bound is all that a good reading costs.
//
// Four at a time, since the loop is bound by its checks; the rest one by one.
func (l line) convert(raw, amperes []float64) (lo, hi float64, finite bool) {
	lo, hi, finite = raw[0], raw[0], true
	for len(raw) >= 4 && len(amperes) >= 4 {
		a, b, c, d := raw[0], raw[1], raw[2], raw[3]
		amperes[0], amperes[1] = l.at(a), l.at(b)
		amperes[2], amperes[3] = l.at(c), l.at(d)
		if !(lo <= a && a <= hi && lo <= b && b <= hi && lo <= c && c <= hi && lo <= d && d <= hi) {
			lo, hi, finite = extremes(raw[:4], lo, hi, finite)
		}
		raw, amperes = raw[4:], amperes[4:]
	}
	for k, v := range raw {
		amperes[k] = l.at(v)
	}
	lo, hi, finite = extremes(raw, lo, hi, finite)
	return lo, hi, finite && isFinite(lo) && isFinite(hi)
}

// extremes widens lo and hi to hold values; finite stays true if each of them is a number.
func extremes(values []float64, lo, hi float64, finite bool) (newLo, newHi float64, stillFinite bool) {
	for _, v := range values {
		finite = finite && v == v
		if v < lo {
			lo = v
		} else if v > hi {
			hi = v
		}
	}
	return lo, hi, finite
}

// readingByReading converts a batch in which something moves or is wrong.
func (s *Sensor) readingByReading(f *scan.Frame, column *scan.Column, r *scan.Readings) {
	s.quality = slices.Grow(s.quality[:0], f.Count)[:f.Count]
	r.Usable, r.Causes = 0, 0
	r.Minimum, r.Maximum = math.Inf(1), math.Inf(-1)
	for k := range r.Raw {
		q := column.FlagAt(k)
		if f.Flags != nil {
			q |= f.Flags[k]
		}
		q = s.convert(f, k, r, q)
		s.quality[k] = q
		r.Causes |= q
		if q == 0 {
			r.Usable++
			r.Minimum = min(r.Minimum, r.Amperes[k])
			r.Maximum = max(r.Maximum, r.Amperes[k])
		}
	}
	r.Quality = s.quality
	if r.Causes == 0 {
		r.Quality = nil
	}
}

// convert gives reading k its amperes and adds to q what is wrong with it.
func (s *Sensor) convert(f *scan.Frame, k int, r *scan.Readings, q scan.Quality) scan.Quality {
	l, missing := s.lineOf(f, k)
	q |= missing
	raw := r.Raw[k]
	y := l.at(raw)
	switch {
	case q&scan.Missing != 0:
		y = math.NaN()
	case !isFinite(raw):
		y, q = math.NaN(), q|scan.NotFinite
	case s.RangeKnown && (raw <= s.MinimumRaw || raw >= s.MaximumRaw):
		q |= scan.Saturated
	}
	if s.isBent {
		y = s.bend.straighten(y)
	}
	believed := y
	if math.Abs(y) > s.limit || y != y && isFinite(raw) && q&scan.Missing == 0 { // or the curve has no such current
		believed, q = math.NaN(), q|scan.OutOfRange
	}
	r.Amperes[k] = y
	if s.Heating != nil {
		s.warmth.step(f.Epoch, f.At(k), believed, s.Model.(*Shunt))
	}
	return q
}

// lineOf gives the line at scan k and what is missing to know it; then the reference stands in.
func (s *Sensor) lineOf(f *scan.Frame, k int) (line, scan.Quality) {
	if s.Heating == nil && s.Temperature == None && s.Supply == None {
		return s.fixed, 0
	}
	celsius, supply := s.Model.reference()
	q := auxiliary(f, s.Temperature, k, &celsius) | auxiliary(f, s.Supply, k, &supply)
	if s.Heating != nil {
		celsius = s.warmth.celsius()
	}
	l := s.lineAt(celsius, supply)
	if !l.follows(s.fixed) {
		return s.fixed, q | scan.AuxiliaryMissing
	}
	return l, q
}

// auxiliary reads a temperature or supply into value, or tells that it is missing.
func auxiliary(f *scan.Frame, input, k int, value *float64) scan.Quality {
	if input == None {
		return 0
	}
	column := &f.Columns[input]
	v := column.At(k)
	if column.FlagAt(k) != 0 || !isFinite(v) {
		return scan.AuxiliaryMissing
	}
	*value = v
	return 0
}

func isFinite(v float64) bool { return v-v == 0 }
