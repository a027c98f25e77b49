package stability

import "math"

// Noise is a type of noise, named by the exponent of its spectral density of the current.
type Noise int

// The types, from the one whose deviation rises most with τ to the one whose falls most.
const (
	RandomWalk Noise = -2
	Flicker    Noise = -1
	White      Noise = 0
	Blue       Noise = 1 // flicker of the charge
	Violet     Noise = 2 // white noise of the charge: readings that undo one another, such as a converter that carries its remainder over
)

// String names a type.
func (n Noise) String() string {
	switch n {
	case RandomWalk:
		return "random walk"
	case Flicker:
		return "flicker"
	case White:
		return "white"
	case Blue:
		return "blue"
	case Violet:
		return "violet"
	}
	return "unknown"
}

const (
	fewestBlocks = 30      // an autocorrelation of fewer says nothing of the type
	mostBlocks   = 1 << 16 // more add nothing to what the first ones say
)

// identify finds the type at an averaging factor; found is false if too few averages are left.
func identify(phases [][]float64, m int) (n Noise, found bool) {
	var blocks [][]float64
	total := 0
	for _, x := range phases {
		count := min((len(x)-1)/m, mostBlocks-total)
		if count < 4 {
			continue
		}
		y := make([]float64, count)
		for j := range y {
			y[j] = (x[(j+1)*m] - x[j*m]) / float64(m)
		}
		detrend(y)
		blocks = append(blocks, y)
		total += count
	}
	if total < fewestBlocks {
		return White, false
	}
	return exponent(blocks), true
}

// exponent applies Riley and Greenhall's rule: difference until ρ = r/(1+r) of the lag-1 autocorrelation r is below a quarter. The data are
// averages of the current; two differences are as many as the Allan variance can bear.
func exponent(blocks [][]float64) Noise {
	for differences := 0; ; differences++ {
		r := lag1(blocks)
		rho := r / (1 + r)
		if rho < 0.25 || differences == 2 {
			alpha := -2 * (rho + float64(differences))
			return Noise(max(-2, min(2, math.Round(alpha))))
		}
		for i, y := range blocks {
			blocks[i] = difference(y)
		}
	}
}

// lag1 is the autocorrelation of neighbours, over all parts.
func lag1(parts [][]float64) float64 {
	products, squares := 0.0, 0.0
	for _, y := range parts {
		m := mean(y)
		for i, v := range y {
			squares += (v - m) * (v - m)
			if i > 0 {
				products += (v - m) * (y[i-1] - m)
			}
		}
	}
	if squares == 0 {
		return 0
	}
	return products / squares
}

// difference overwrites y with its differences, one fewer.
func difference(y []float64) []float64 {
	for i := range len(y) - 1 {
		y[i] = y[i+1] - y[i]
	}
	return y[:len(y)-1]
}

// detrend takes the least-squares straight line off.
func detrend(y []float64) {
	centre, m := float64(len(y)-1)/2, mean(y)
	products, squares := 0.0, 0.0
	for i, v := range y {
		t := float64(i) - centre
		products += t * (v - m)
		squares += t * t
	}
	for i := range y {
		y[i] -= m + products/squares*(float64(i)-centre)
	}
}

func mean(y []float64) float64 {
	sum := 0.0
	for _, v := range y {
		sum += v
	}
	return sum / float64(len(y))
}
