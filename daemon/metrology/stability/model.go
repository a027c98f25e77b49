package stability

import "math"

// DeviationAmperes is the curve's Allan deviation at an averaging time.
func (m *Model) DeviationAmperes(tauSeconds float64) float64 {
	sum := 0.0
	for _, v := range m.parts(tauSeconds) {
		sum += v
	}
	return math.Sqrt(sum)
}

// Parts gives what white noise, flicker, random walk and drift would each show alone.
func (m *Model) Parts(tauSeconds float64) (white, flicker, walk, drift float64) {
	p := m.parts(tauSeconds)
	return math.Sqrt(p[whiteTerm]), math.Sqrt(p[flickerTerm]), math.Sqrt(p[walkTerm]), math.Sqrt(p[driftTerm])
}

func (m *Model) parts(tau float64) [termCount]float64 {
	parts := basis(tau)
	for k, c := range [termCount]Coefficient{m.WhiteDensity, m.FlickerFloor, m.WalkDensity, m.Drift} {
		parts[k] *= c.Value * c.Value
	}
	return parts
}
