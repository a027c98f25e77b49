package biasfilter

// term is one state times a factor; several of them are a linear form, which names each state once.
type term struct {
	at int
	by float64
}

// filter holds the mean x of n states and their covariance p, row by row. Every method keeps p symmetric to the bit and allocates nothing.
type filter struct {
	n          int
	x, p       []float64
	v, k, u, w []float64 // of one call
}

func newFilter(n int) *filter {
	f := &filter{n: n, x: make([]float64, n), p: make([]float64, n*n)}
	scratch := make([]float64, 4*n)
	f.v, f.k, f.u, f.w = scratch[:n], scratch[n:2*n], scratch[2*n:3*n], scratch[3*n:]
	return f
}

func (f *filter) row(i int) []float64 { return f.p[i*f.n : (i+1)*f.n] }

// value gives a form's mean and variance.
func (f *filter) value(form []term) (mean, variance float64) {
	for _, a := range form {
		mean += a.by * f.x[a.at]
	}
	return mean, max(0, f.covariance(form, form))
}

// covariance gives that of two forms.
func (f *filter) covariance(a, b []term) (sum float64) {
	for _, s := range a {
		row := f.row(s.at)
		for _, t := range b {
			sum += s.by * t.by * row[t.at]
		}
	}
	return sum
}

// draw sets a state to a mean and variance that nothing else has to do with.
func (f *filter) draw(i int, mean, variance float64) {
	for j := range f.n {
		f.p[i*f.n+j], f.p[j*f.n+i] = 0, 0
	}
	f.x[i], f.p[i*f.n+i] = mean, variance
}

// clone makes state i a copy of state j.
func (f *filter) clone(i, j int) {
	f.x[i] = f.x[j]
	copy(f.row(i), f.row(j))
	f.p[i*f.n+i] = f.p[j*f.n+j]
	for l := range f.n {
		f.p[l*f.n+i] = f.p[i*f.n+l]
	}
}

// couple adds a form of other states to state i: x_i ← x_i + Σ by·x_at.
func (f *filter) couple(i int, form []term) {
	w := f.w
	clear(w)
	for _, a := range form {
		f.x[i] += a.by * f.x[a.at]
		for j, p := range f.row(a.at) {
			w[j] += a.by * p
		}
	}
	variance := f.p[i*f.n+i] + 2*w[i]
	for _, a := range form {
		variance += a.by * w[a.at]
	}
	for j := range f.n {
		p := f.p[i*f.n+j] + w[j]
		f.p[i*f.n+j], f.p[j*f.n+i] = p, p
	}
	f.p[i*f.n+i] = max(0, variance)
}

// walk lets state i wander with density q over a time, and other states be integrals of it, each times a factor α:
// P_ii += qt, P_io += αqt²/2, P_oo′ += αα′qt³/3.
func (f *filter) walk(i int, q, t float64, integrals ...term) {
	f.p[i*f.n+i] += q * t
	for _, a := range integrals {
		cross := f.p[i*f.n+a.at] + a.by*q*t*t/2
		f.p[i*f.n+a.at], f.p[a.at*f.n+i] = cross, cross
	}
	f.spread(q*t*t*t/3, integrals...)
}

// spread adds one error of a variance to several states, times a factor each.
func (f *filter) spread(variance float64, over ...term) {
	for _, a := range over {
		for _, b := range over {
			f.p[a.at*f.n+b.at] += a.by * b.by * variance
		}
	}
}

// update takes the scalar measurement y = form·x + n, var n = r, in Joseph's form, P ← (I − k h)P(I − k h)ᵀ + k r kᵀ, made symmetric
// again. It gives the innovation and its variance; a measurement of what is known without error changes nothing.
func (f *filter) update(form []term, y, r float64) (innovation, s float64) {
	n, v, k, u := f.n, f.v, f.k, f.u
	clear(v)
	mean := 0.0
	for _, a := range form {
		mean += a.by * f.x[a.at]
		for j, p := range f.row(a.at) {
			v[j] += a.by * p
		}
	}
	s = r
	for _, a := range form {
		s += a.by * v[a.at]
	}
	innovation = y - mean
	if !(s > 0) {
		return innovation, 0
	}
	for i := range n {
		k[i] = v[i] / s
		f.x[i] += k[i] * innovation
	}
	for i := range n { // u = (I − k h)P hᵀ
		u[i] = 0
		for _, a := range form {
			u[i] += a.by * (f.p[i*n+a.at] - k[i]*v[a.at])
		}
	}
	f.joseph(r)
	return innovation, s
}

// joseph finishes an update: with A = P − k vᵀ, P ← A − u kᵀ + r k kᵀ, the mean of it and its transpose.
func (f *filter) joseph(r float64) {
	n, v, k, u := f.n, f.v, f.k, f.u
	for i := range n {
		for j := range i {
			both := r * k[i] * k[j]
			lower := f.p[i*n+j] - k[i]*v[j] - u[i]*k[j] + both
			upper := f.p[j*n+i] - k[j]*v[i] - u[j]*k[i] + both
			p := (lower + upper) / 2
			f.p[i*n+j], f.p[j*n+i] = p, p
		}
		f.p[i*n+i] = max(0, f.p[i*n+i]-k[i]*v[i]-u[i]*k[i]+r*k[i]*k[i])
	}
}
