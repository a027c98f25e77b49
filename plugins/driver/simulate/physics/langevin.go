package physics

import "math"

// langevin gives L(x) = coth x − 1/x, the shape of the anhysteretic magnetisation, and its slope. It rises from −1 to 1 with the
// slope 1/3 at zero; there it is a series, because the difference of two large numbers would leave nothing.
func langevin(x float64) (value, slope float64) {
	if size := math.Abs(x); size < 0.3 {
		square := x * x
		value = x * (1./3 - square*(1./45-square*(2./945-square*(1./4725-square*(2./93555-square*1382./638512875)))))
		slope = 1./3 - square*(1./15-square*(2./189-square*(1./675-square*(2./10395-square*15202./638512875))))
		return value, slope
	}
	inverse, shrunk := 1/x, math.Exp(-2*math.Abs(x))
	coth := math.Copysign((1+shrunk)/(1-shrunk), x)
	return coth - inverse, max(0, inverse*inverse-(coth-1)*(coth+1))
}
