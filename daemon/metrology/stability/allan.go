package stability

import "math"

// Coverage is the probability of every interval that is given ready.
const Coverage = 0.95

// Point is a deviation at one averaging time.
type Point struct {
	Factor           int // averaging factor
	TauSeconds       float64
	DeviationAmperes float64
	Terms            int     // second differences behind it
	Noise            Noise   // the type that prevails at this time
	EDF              float64 // equivalent degrees of freedom; 0 = not computed for this kind of deviation
	LowerAmperes     float64 // limits of the interval of Coverage
	UpperAmperes     float64
}

// Limits gives the interval that covers the true deviation with a probability.
func (p Point) Limits(coverage float64) (lowerAmperes, upperAmperes float64) {
	if p.EDF == 0 {
		return 0, math.Inf(1)
	}
	low, high := chiSquareLimits(p.EDF, coverage)
	return p.DeviationAmperes * math.Sqrt(low), p.DeviationAmperes * math.Sqrt(high)
}

// Octaves gives the averaging factors 1, 2, 4 … that leave a segment at least one second difference.
func Octaves(g *Grid) (factors []int) {
	for m := 1; m <= longest(g)/2; m *= 2 {
		factors = append(factors, m)
	}
	return factors
}

// AllFactors gives every averaging factor that leaves a segment at least one second difference. The time to compute them all grows with the
// square of the log's length.
func AllFactors(g *Grid) (factors []int) {
	for m := 1; m <= longest(g)/2; m++ {
		factors = append(factors, m)
	}
	return factors
}

func longest(g *Grid) int {
	most := 0
	for _, s := range g.Segments {
		most = max(most, len(s.Amperes))
	}
	return most
}

// Overlapping gives the overlapping Allan deviation with its limits; factors ascend. Those too great for the log are left out.
func Overlapping(g *Grid, factors []int) []Point {
	phases := phasesOf(g)
	prevailing := White
	return deviations(g, phases, factors, func(p *Point, m int) float64 {
		sum, freedom := 0.0, 0.0
		if noise, found := identify(phases, m); found {
			prevailing = noise
		}
		for _, x := range phases {
			squares, terms := secondDifferences(x, m, 1)
			sum += squares
			p.Terms += terms
			if terms > 0 {
				freedom += float64(terms) * float64(terms) / EDF(prevailing, len(x), m)
			}
		}
		p.Noise, p.EDF = prevailing, float64(p.Terms)*float64(p.Terms)/freedom
		return sum / (2 * float64(m) * float64(m) * float64(p.Terms))
	})
}

// Plain gives the Allan deviation of neighbouring, not overlapping, averages. It has no limits.
func Plain(g *Grid, factors []int) []Point {
	phases := phasesOf(g)
	return deviations(g, phases, factors, func(p *Point, m int) float64 {
		sum := 0.0
		for _, x := range phases {
			squares, terms := secondDifferences(x, m, m)
			sum += squares
			p.Terms += terms
		}
		return sum / (2 * float64(m) * float64(m) * float64(p.Terms))
	})
}

// Modified gives the modified Allan deviation. It has no limits.
func Modified(g *Grid, factors []int) []Point {
	phases := phasesOf(g)
	return deviations(g, phases, factors, func(p *Point, m int) float64 {
		sum := 0.0
		for _, x := range phases {
			squares, terms := averagedDifferences(x, m)
			sum += squares
			p.Terms += terms
		}
		return sum / (2 * math.Pow(float64(m), 4) * float64(p.Terms))
	})
}

// deviations makes the points of a kind of variance; one without terms is none.
func deviations(g *Grid, phases [][]float64, factors []int, variance func(*Point, int) float64) (points []Point) {
	for _, m := range factors {
		if m < 1 || len(phases) == 0 {
			continue
		}
		p := Point{Factor: m, TauSeconds: float64(m) * g.IntervalSeconds}
		v := variance(&p, m)
		if p.Terms == 0 {
			continue
		}
		p.DeviationAmperes = math.Sqrt(v)
		p.LowerAmperes, p.UpperAmperes = p.Limits(Coverage)
		points = append(points, p)
	}
	return points
}
