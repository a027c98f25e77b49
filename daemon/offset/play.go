package offset

import (
	"slices"

	"github.com/ampledger/ampledger/daemon/scan"
)

// Plays is a basis for rate-independent hysteresis: m play operators (Krejčí 1996) with half-widths r, driven by the statically
// converted current,
//
//	p ← max(I − r, min(I + r, p)),   z = (I − p)/r ∈ [−1, 1],
//
// and the means of their outputs z over a summary. Operators are only ever added, so the place of one stays the same. They run from usable reading to usable reading at full rate and before any estimated
// offset, so their state depends on the readings alone, not on how these are cut into batches. It allocates only to take up operators. The
// zero value has none.
type Plays struct {
	operators []operator
	newest    float64 // the newest usable reading in amperes
	begun     bool
}

// operator is one of them.
type operator struct {
	Play
	placed bool    // its position is known, though no reading has come yet
	sum    float64 // of z over the summary
	count  int     // of readings in that sum
}

// Play is where an operator stands.
type Play struct {
	HalfWidth float64 `json:"half_width_amperes"` // r, > 0
	Position  float64 `json:"position_amperes"`   // p
}

// Stand gives where each operator stands, in the order of the places; to be kept for Resume.
func (p *Plays) Stand() (all []Play) {
	for _, o := range p.operators {
		all = append(all, o.Play)
	}
	return all
}

// Resume takes operators up where they stood before, as magnetisation stays where it is while nobody reads. It must come first.
func (p *Plays) Resume(stood []Play) {
	for _, each := range stood {
		p.operators = append(p.operators, operator{Play: each, placed: true})
	}
}

// Want gives the places of operators of these half-widths in amperes, each above 0, adding those that are not there yet. A new one begins
// at z = 0 with the newest reading, or the first one to come.
func (p *Plays) Want(halfWidths []float64) (places []int) {
	for _, width := range halfWidths {
		at := slices.IndexFunc(p.operators, func(o operator) bool { return o.HalfWidth == width })
		if at < 0 {
			at = len(p.operators)
			p.operators = append(p.operators, operator{Play: Play{width, p.newest}})
		}
		places = append(places, at)
	}
	return places
}

// Add drives the operators with the usable readings of r.
func (p *Plays) Add(r *scan.Readings) {
	if r.Usable == 0 {
		return
	}
	p.begin(r)
	for i := range p.operators {
		p.operators[i].run(r)
	}
	last := r.Len() - 1
	for r.QualityAt(last) != 0 {
		last--
	}
	p.newest = r.Amperes[last]
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
	for i := range p.operators {
		if o := &p.operators[i]; !o.placed {
			o.Position = r.Amperes[k]
		}
	}
}

// run drives the operator through a batch.
func (o *operator) run(r *scan.Readings) {
	width, position, sum := o.HalfWidth, o.Position, o.sum
	for k, current := range r.Amperes {
		if r.Quality != nil && r.Quality[k] != 0 {
			continue
		}
		position = max(current-width, min(current+width, position))
		sum += (current - position) / width
	}
	o.Position, o.sum = position, sum
	o.count += r.Usable
}

// Take appends the means of z since the last Take to to, in the order of the places, and begins the next summary; 0 where there was no
// usable reading.
func (p *Plays) Take(to []float64) []float64 {
	for i := range p.operators {
		o := &p.operators[i]
		mean := 0.0
		if o.count > 0 {
			mean = o.sum / float64(o.count)
		}
		to = append(to, mean)
		o.sum, o.count = 0, 0
	}
	return to
}
