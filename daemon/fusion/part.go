package fusion

import "math"

// MostChannels is the greatest number of channels of a Stage.
const MostChannels = 8

// Part is what is known of one channel as a summary begins. It may hold any figures; the package's comment says what becomes of those
// that cannot be.
type Part struct {
	NoiseAmperes float64 // standard uncertainty of one reading, independent from reading to reading
	Readings     int     // in a summary; below 1 counts as 1
	ZeroAmperes  float64 // standard uncertainty of the zero, as the offset stage states it now
	GainRatio    float64 // relative standard uncertainty of the gain
	MeanAmperes  float64 // newest mean of the current; NaN = there is none

	// Covariances of this channel's error with that of each channel, itself contained, in A²: gain contained, at the newest current,
	// noise left out. They must be symmetric; of each pair the entry of the later channel is read. NaN = not stated, and so are those
	// that are missing: then the uncertainties above hold, independent of other channels'.
	Covariances []float64
}

// unknown is what an uncertainty that cannot be counts as.
const unknown = math.MaxInt32

// known gives an uncertainty that can be reckoned with.
func known(uncertainty float64) float64 {
	if uncertainty >= 0 && uncertainty <= unknown {
		return uncertainty
	}
	return unknown
}

// covariance gives the covariance with channel j if it is stated and can be.
func (p *Part) covariance(j int, itself bool) (value float64, stated bool) {
	if j >= len(p.Covariances) {
		return 0, false
	}
	value = p.Covariances[j]
	return value, math.Abs(value) <= unknown*unknown && (value >= 0 || !itself)
}

type (
	vector [MostChannels]float64
	matrix [MostChannels]vector
)

// model is what a summary's weights follow from.
type model struct {
	noise, zero, gain vector // as in Part, each known
	common            matrix // A²: covariances of what does not grow with the current and is no noise
	all               matrix // A²: covariances of everything, over a summary
}

// learn takes the parts in.
func (m *model) learn(parts []Part) {
	current := greatest(parts)
	for i := range parts {
		p := &parts[i]
		m.noise[i], m.zero[i], m.gain[i] = known(p.NoiseAmperes), known(p.ZeroAmperes), known(p.GainRatio)
		for j := range i {
			value, stated := p.covariance(j, false)
			if !stated {
				value = 0
			}
			m.common[i][j], m.common[j][i] = value, value
			m.all[i][j], m.all[j][i] = value, value
		}
		m.own(i, p, square(m.gain[i]*current))
	}
}

// own fills the diagonal of channel i, of whose variance the gain has the part growing.
func (m *model) own(i int, p *Part, growing float64) {
	m.common[i][i] = square(m.zero[i])
	m.all[i][i] = m.common[i][i] + growing
	if stated, ok := p.covariance(i, true); ok {
		m.common[i][i], m.all[i][i] = stated-growing, stated
	}
	m.all[i][i] += square(m.noise[i]) / float64(max(1, p.Readings))
}

// greatest gives the greatest magnitude of the means there are.
func greatest(parts []Part) (amperes float64) {
	for i := range parts {
		if mean := math.Abs(parts[i].MeanAmperes); mean <= unknown {
			amperes = max(amperes, mean)
		}
	}
	return amperes
}

// square is rounded by itself: some machines would fuse it into a sum that takes it, and the bits would differ.
func square(x float64) float64 { return float64(x * x) }
