package offset

import "github.com/ampledger/ampledger/daemon/scan"

// Plays is a basis for rate-independent hysteresis: m play operators (Krejčí 1996) with half-widths r, driven by the statically
// converted current,
//
//	p ← max(I − r, min(I + r, p)),   z = (I − p)/r ∈ [−1, 1],
//
// and the means of their outputs z over a summary. They run from usable reading to usable reading at full rate and before any estimated
// offset, so their state depends on the readings alone, not on how these are cut into batches. It allocates nothing once made.
type Plays struct {
	halfWidths []float64 // amperes, > 0
	positions  []float64 // p; the first reading sets them, so that z begins at 0
	sums       []float64 // of z over the summary
	count      int
	begun      bool
}

// NewPlays makes operators of these half-widths in amperes, each above 0.
func NewPlays(halfWidths []float64) *Plays {
	return &Plays{halfWidths: halfWidths, positions: make([]float64, len(halfWidths)), sums: make([]float64, len(halfWidths))}
}

// Add drives the operators with the usable readings of r.
func (p *Plays) Add(r *scan.Readings) {
	if len(p.halfWidths) == 0 || r.Usable == 0 {
		return
	}
	p.begin(r)
	for i, width := range p.halfWidths {
		p.positions[i], p.sums[i] = run(r, width, p.positions[i], p.sums[i])
	}
	p.count += r.Usable
}

// begin sets the operators to rest at the first usable reading.
func (p *Plays) begin(r *scan.Readings) {
	if p.begun {
		return
	}
	k := 0
	for r.QualityAt(k) != 0 {
		k++
	}
	p.begun = true
	for i := range p.positions {
		p.positions[i] = r.Amperes[k]
	}
}

// run drives one operator through a batch.
func run(r *scan.Readings, width, position, sum float64) (newPosition, newSum float64) {
	for k, current := range r.Amperes {
		if r.Quality != nil && r.Quality[k] != 0 {
			continue
		}
		position = max(current-width, min(current+width, position))
		sum += (current - position) / width
	}
	return position, sum
}

// Take gives the means of z since the last Take, appended to to, and begins the next summary; zeros if there was no usable reading.
func (p *Plays) Take(to []float64) []float64 {
	for i, sum := range p.sums {
		mean := 0.0
		if p.count > 0 {
			mean = sum / float64(p.count)
		}
		to = append(to, mean)
		p.sums[i] = 0
	}
	p.count = 0
	return to
}
