package biasfilter

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// batch is the slow, obvious version: everything that is not known is a unit normal of its own, every quantity a constant and a row of
// coefficients of them, and all measurements are solved at once by least squares, x = (1 + HᵀR⁻¹H)⁻¹HᵀR⁻¹y.
type batch struct {
	unknown int
	rows    []quantity
	weights []float64 // 1/√r
}

const mostUnknown = 260

type quantity struct {
	constant float64
	by       []float64
}

func (b *batch) normal(sigma float64) quantity {
	q := quantity{by: make([]float64, mostUnknown)}
	q.by[b.unknown] = sigma
	b.unknown++
	return q
}

func (q quantity) plus(factor float64, o quantity) quantity {
	sum := quantity{constant: q.constant + factor*o.constant, by: make([]float64, mostUnknown)}
	copy(sum.by, q.by)
	for i, by := range o.by {
		sum.by[i] += factor * by
	}
	return sum
}

// measure says that q, with an error of variance r, was found to be 0.
func (b *batch) measure(q quantity, r float64) {
	b.rows, b.weights = append(b.rows, q), append(b.weights, 1/math.Sqrt(r))
}

// solve gives the means and the covariance of what is asked for.
func (b *batch) solve(t *rapid.T, asked ...quantity) (means []float64, covariance [][]float64) {
	n, m := b.unknown, len(b.rows)
	h, y := mat.NewDense(m+n, n, nil), mat.NewVecDense(m+n, nil)
	for i, row := range b.rows {
		for j := range n {
			h.Set(i, j, row.by[j]*b.weights[i])
		}
		y.SetVec(i, -row.constant*b.weights[i])
	}
	for j := range n {
		h.Set(m+j, j, 1)
	}
	var qr mat.QR
	qr.Factorize(h)
	var x mat.VecDense
	if err := qr.SolveVecTo(&x, false, y); err != nil {
		t.Fatal(err)
	}
	var r mat.Dense
	qr.RTo(&r)
	a := mat.NewDense(n, len(asked), nil)
	for k, q := range asked {
		mean := q.constant
		for j := range n {
			mean += q.by[j] * x.AtVec(j)
			a.Set(j, k, q.by[j])
		}
		means = append(means, mean)
	}
	var half, p mat.Dense // R⁻ᵀ·askedᵀ
	if err := half.Solve(r.Slice(0, n, 0, n).T(), a); err != nil {
		t.Fatal(err)
	}
	p.Mul(half.T(), &half)
	for i := range asked {
		covariance = append(covariance, p.RawRowView(i))
	}
	return means, covariance
}

// dense follows one channel in the batch by the equations of the package comment.
type dense struct {
	*batch
	figures
	b, k, charge, mark, eps quantity
	h                       []quantity
	warm                    float64
	z, held                 []float64
	raw, white              float64
	window                  struct{ seconds, coulombs, count, warm float64 }
	sums                    []float64
}

func newDense(of *batch, f figures) *dense {
	d := &dense{batch: of, figures: f, b: of.normal(f.zero), k: of.normal(f.drift), held: make([]float64, len(f.plays)), sums: make([]float64, len(f.plays))}
	for range f.plays {
		d.h = append(d.h, of.normal(f.play))
	}
	return d
}

// walk moves b, and B where it is integrated.
func (d *dense) walk(t float64, integrated bool, z []float64) {
	if t == 0 {
		return
	}
	if integrated {
		d.charge = d.charge.plus(t, d.offset(z, d.warm))
	}
	step := d.normal(math.Sqrt(d.density * t))
	d.b = d.b.plus(1, step)
	if integrated {
		d.charge = d.charge.plus(t/2, step).plus(1, d.normal(math.Sqrt(d.density*t*t*t/12)))
	}
}

func (d *dense) offset(z []float64, warm float64) quantity {
	o := d.b.plus(warm, d.k)
	for i, h := range d.h {
		o = o.plus(z[i], h)
	}
	return o
}

func (d *dense) gather(c *plugin.ChannelSummary) {
	t := c.GetIntegralSeconds()
	d.window.seconds += t
	d.window.coulombs += c.GetIntegralCoulombs()
	d.window.count += float64(c.GetReadingCount())
	d.window.warm += d.warm * t
	for i, z := range d.z {
		d.sums[i] += z * t
	}
}

func (d *dense) clear() {
	d.window = struct{ seconds, coulombs, count, warm float64 }{}
	clear(d.sums)
}

// mean gives what the window's mean reading is taken for, less what it was.
func (d *dense) mean() quantity {
	z := make([]float64, len(d.sums))
	for i := range z {
		z[i] = d.sums[i] / d.window.seconds
	}
	o := d.offset(z, d.window.warm/d.window.seconds)
	o.constant -= d.window.coulombs / d.window.seconds
	return o
}

// model is the whole batch beside the estimator.
type model struct {
	batch
	channels   []*dense
	fused      quantity
	rho        quantity
	standing   quantity
	resting    bool
	residual   float64
	floor      float64
	markError  quantity
	marked     bool
	markCharge float64
}

func (m *model) load(s *plugin.Summary) {
	m.resting = false
	for i, c := range s.GetChannels() {
		d := m.channels[i]
		d.walk(c.GetIntegralSeconds(), true, d.z)
		d.raw += c.GetIntegralCoulombs()
		d.white += d.noise * d.noise / float64(c.GetReadingCount()) * c.GetIntegralSeconds() * c.GetIntegralSeconds()
		if s.GetFirstSequence() > 0 { // the first follows on nothing
			d.gather(c)
		}
	}
	a, b := m.channels[0], m.channels[1]
	if a.window.seconds < 30 {
		return
	}
	r := m.floor*m.floor + a.noise*a.noise/a.window.count + b.noise*b.noise/b.window.count + (a.density+b.density)*a.window.seconds/3
	m.measure(a.mean().plus(-1, b.mean()), r)
	a.clear()
	b.clear()
}

func (m *model) rest(s *plugin.Summary) {
	begins := !m.resting
	m.resting = true
	if begins {
		m.rho = m.standing.plus(1, m.normal(m.residual*math.Sqrt(1-standingShare)))
	}
	for i, c := range s.GetChannels() {
		d := m.channels[i]
		d.clear()
		seconds, coulombs := c.GetIntegralSeconds(), c.GetIntegralCoulombs()
		d.raw += coulombs
		if begins {
			d.eps = d.normal(math.Hypot(d.floor, d.misfit))
			copy(d.held, d.z)
			seconds = float64(s.GetLastMonotonicNanos()-s.GetFirstMonotonicNanos()) * 1e-9
			coulombs = c.GetMeanAmperes() * seconds
			d.walk(c.GetIntegralSeconds()-seconds, true, d.z)
		}
		d.walk(seconds, false, nil)
		d.charge = d.charge.plus(-seconds, m.rho)
		d.charge.constant += coulombs
		y := d.offset(d.held, d.warm).plus(1, m.rho).plus(1, d.eps)
		y.constant -= c.GetMeanAmperes()
		m.measure(y, max(c.GetVarianceSquareAmperes(), d.noise*d.noise)/float64(c.GetReadingCount()))
	}
}

// mix adds to the fused charge what the channels' charges gained since they stood somewhere, each by its weight.
func (m *model) mix(weights []float64, since []quantity) {
	for i, d := range m.channels {
		m.fused = m.fused.plus(weights[i], d.charge).plus(-weights[i], since[i])
	}
}

func (m *model) charges() (all []quantity) {
	for _, d := range m.channels {
		all = append(all, d.charge)
	}
	return all
}

func (m *model) mark(of *plugin.Mark) {
	e := m.normal(of.GetStandardUncertaintyCoulombs())
	for _, d := range m.channels {
		if m.marked {
			q := d.charge.plus(-1, d.mark).plus(-1, e).plus(1, m.markError)
			q.constant -= d.raw - (of.GetPassedCoulombs() - m.markCharge)
			m.measure(q, d.white)
		}
		d.mark, d.raw, d.white = d.charge, 0, 0
	}
	m.markError, m.marked, m.markCharge = e, true, of.GetPassedCoulombs()
}

// After any course of load, rests, comparisons and marks the filter knows what least squares over all of it knows: a rest that comes late has
// corrected what was counted before it.
func TestFilterIsLeastSquares(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		sigma := func(name string) float64 { return rapid.Float64Range(0.01, 2).Draw(r, name) }
		m := &model{residual: sigma("residual"), floor: sigma("difference floor")}
		declared := with{}
		stated := []*plugin.Channel{}
		for i, name := range []string{"a", "b"} {
			declared[name] = with{
				"zero_error_amperes": sigma("zero"), "zero_walk_amperes_per_root_hour": sigma("walk"), "zero_drift_amperes_per_kelvin": sigma("drift"),
				"hysteresis_amperes": sigma("hysteresis") * float64(i), "hysteresis_operators": 2, "noise_amperes": sigma("noise"),
				"floor_amperes": sigma("floor"), "gain_error_ratio": 0, "reference_celsius": 25,
			}
			stated = append(stated, &plugin.Channel{Name: name, FullScaleAmperes: 100})
		}
		e := started(t, with{"gate": 1e9, "residual_amperes": m.residual, "difference_seconds": 30, "difference_floor_amperes": m.floor, "channels": declared}, stated...)
		for _, c := range e.channels {
			m.channels = append(m.channels, newDense(&m.batch, c.figures))
		}
		m.standing = m.normal(m.residual * math.Sqrt(standingShare))
		courseOf(r, e, m)
		compareWithBatch(r, e, m)
	})
}

func courseOf(r *rapid.T, e *Estimator, m *model) {
	marks := 0
	for k := range rapid.IntRange(1, 20).Draw(r, "summaries") {
		s := &plugin.Summary{
			FirstSequence: uint64(k) * 100, LastSequence: uint64(k)*100 + 99, FirstMonotonicNanos: int64(k)*1e10 + 1e8, LastMonotonicNanos: int64(k+1) * 1e10,
			Rest: rapid.SampledFrom([]pluginv1.Rest{restNone, restNone, restCertain}).Draw(r, "rest"),
		}
		for i, c := range e.channels {
			s.Channels = append(s.Channels, randomSummary(r, c))
			d := m.channels[i]
			d.warm, d.z = s.Channels[i].TemperatureCelsius-25, s.Channels[i].PlayMeanRatios
		}
		weights := mixed(r, s)
		// A mark that ends a span of rests alone is exact, and to least squares a division by 0.
		if s.Rest == restNone && rapid.IntRange(0, 3).Draw(r, "mark") == 0 {
			marks++
			s.Marks = []*plugin.Mark{{PassedCoulombs: rapid.Float64Range(-9, 9).Draw(r, "charge"), StandardUncertaintyCoulombs: float64(marks)}}
		}
		if err := e.update(s); err != nil {
			r.Fatal(err)
		}
		before := m.charges()
		if s.Rest == restCertain {
			m.rest(s)
		} else {
			m.load(s)
		}
		m.mix(weights, before)
		for _, mark := range s.Marks {
			m.mark(mark)
		}
		if notes := e.Notes(); len(notes) > 0 {
			r.Fatal(notes)
		}
	}
}

// mixed gives a summary a fused current: the channels by weights, one of which may be 0.
func mixed(r *rapid.T, s *plugin.Summary) (weights []float64) {
	w := rapid.SampledFrom([]float64{0, 0.3, 0.5, 1}).Draw(r, "weight")
	weights = []float64{w, 1 - w}
	s.Fused = &pluginv1.Fused{IntegralSeconds: 10}
	for i, c := range s.GetChannels() {
		if weights[i] > 0 {
			share := &pluginv1.FusedShare{Name: c.GetName(), WeightSeconds: 10 * weights[i], IntegralCoulombs: weights[i] * c.GetIntegralCoulombs()}
			s.Fused.Shares = append(s.Fused.Shares, share)
		}
	}
	return weights
}

func randomSummary(r *rapid.T, c *channel) *plugin.ChannelSummary {
	amperes := rapid.Float64Range(-3, 3)
	of := &plugin.ChannelSummary{
		Name: c.name, ReadingCount: 100, MeanAmperes: amperes.Draw(r, "mean"), VarianceSquareAmperes: rapid.Float64Range(0, 1).Draw(r, "variance"),
		MinimumAmperes: -3, MaximumAmperes: 3, TemperatureCelsius: rapid.Float64Range(0, 50).Draw(r, "warm"), TemperatureKnown: true,
		IntegralSeconds: 10,
	}
	of.IntegralCoulombs = 10 * of.MeanAmperes // so that what is known exactly of a rest does not contradict itself
	for range c.plays {
		of.PlayMeanRatios = append(of.PlayMeanRatios, rapid.Float64Range(-1, 1).Draw(r, "z"))
	}
	return of
}

func compareWithBatch(r *rapid.T, e *Estimator, m *model) {
	var asked []quantity
	var at []int
	for i, d := range m.channels {
		l := e.channels[i].at
		asked, at = append(asked, d.charge, d.b, d.k), append(at, l.charge, l.zero, l.drift)
		for j, h := range d.h {
			asked, at = append(asked, h), append(at, l.plays+j)
		}
	}
	asked, at = append(asked, m.fused), append(at, e.fused)
	for i := range asked {
		if asked[i].by == nil {
			asked[i].by = make([]float64, mostUnknown)
		}
	}
	means, p := m.solve(r, asked...)
	f := e.filter
	for i := range asked {
		sigma := math.Sqrt(p[i][i])
		if got := f.x[at[i]]; math.Abs(got-means[i]) > 1e-7*(1+math.Abs(means[i])+sigma) {
			r.Fatalf("state %d: %v, by least squares %v ± %v", i, got, means[i], sigma)
		}
		for j := range asked {
			if got, scale := f.p[at[i]*f.n+at[j]], sigma*math.Sqrt(p[j][j]); math.Abs(got-p[i][j]) > 1e-7*(1e-3+scale) {
				r.Fatalf("covariance %d, %d: %v, by least squares %v of %v", i, j, got, p[i][j], scale)
			}
		}
	}
}
