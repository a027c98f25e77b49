// Package polynomial fits a straight line, or a polynomial up to the third degree, by least squares, and tells how sure it is.
//
// # Contract
//
// A Fit is made from values once and not changed afterwards; its methods may be called concurrently. Nothing is started, locked, read or
// written. The package knows no units: x and y carry the caller's.
//
// # The fit
//
// The x are shifted to their weighted mean (not through the origin) and scaled to at most 1 in magnitude, and the columns 1, t, t², t³ are
// orthogonalised (Householder QR). The normal equations, which lose half of the digits, are never formed. Coefficients and covariance
// of powers of x itself are made from those at the end; what is asked of the curve at a place is computed from the shifted ones.
//
// # What is known of the values
//
// Where each value comes with its standard uncertainty, the weights are 1/u², and the covariance is (XᵀWX)⁻¹: what the uncertainties make of it,
// whatever the residuals say. Whether they say the same is Birge, and its probability. Where nothing is known beforehand, all weigh the same, and the
// covariance is s²·(XᵀX)⁻¹ with s² the variance of the residuals, as in JCGM 100:2008 H.3.
package polynomial
