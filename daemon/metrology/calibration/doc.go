// Package calibration finds a channel's offset and gain, or its curve, from points at which the current was known: points in, a curve out.
//
// # Contract
//
// A Curve is made from points once and not changed afterwards; its methods may be called concurrently. Nothing is started, locked, read or written.
// Currents are amperes; every uncertainty is a standard uncertainty. Points are refused as a whole if any of them is no point, and none is ever left
// out.
//
// # The curve
//
// The indication x is a polynomial of the reference current I, x = a₀ + a₁·I + a₂·I² + a₃·I³, fitted by weighted least squares (package polynomial).
// A point weighs by both its uncertainties: u² = u_x² + (dx/dI·u_I)², with the slope of the fit itself, found in a few rounds (effective variance;
// Orear 1982). What turns indications into amperes is the inverse: for a straight line y = (x − a₀)/a₁, as the configuration's calibration has it.
//
// What is common to all points, such as the gain of the reference instrument, no number of points averages away. It is given beside them (Common) and
// added to the uncertainty of what the curve says; it has no part in the weights and shows in no residual.
//
// # When points and uncertainties disagree
//
// If the points scatter about the curve more than their uncertainties allow (χ², below 5 %), the curve's uncertainty is enlarged by the Birge ratio,
// and says so (Enlarged). It is never made smaller. Enlarging makes a wrong curve no right one: LackOfFit and Hysteresis tell which it is. Outside of
// the span of its points a curve is a guess whatever its stated uncertainty is: Covers tells.
package calibration
