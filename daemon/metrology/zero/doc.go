// Package zero finds a channel's zero from a rest, a span known to carry no current: its mean, how sure the mean is, and whether the rest was steady enough to
// have one.
//
// # Contract
//
// Every function computes from its arguments alone. Nothing is started, locked, read or written; calls may run concurrently. Currents are
// amperes, uncertainties standard uncertainties. The readings of a rest are taken as evenly spaced where their order matters; times
// matter to the trend alone.
//
// # How sure a mean is
//
// Readings that hang together are fewer witnesses than they are readings. The variance of their mean is σ²/n·2τ with τ = ½ + Σ ρ_k, the sum of the
// autocorrelations up to the least lag that is five times τ or more (Sokal 1997), and corrected for what the mean itself takes from it (Wolff 2004):
// n/2τ readings count (EffectiveCount). Readings that alternate are not taken for more than they are. To this comes what rounding leaves where the
// noise does not carry the readings over the steps (package stability, Resolution). Degrees of freedom are n/(2W+1) − 1 for a window of W lags.
//
// # Whether it was steady
//
// The rest is held against a straight line and against one step. The noise is that about the better of the two, so that what is looked for does not
// hide itself. Then a trend is one beyond Student's 99.5 %, and anything else that moves shows in the cumulated sum of distances from the mean: its
// largest excursion, over √n times the noise, is distributed as Kolmogorov's statistic (Ploberger and Krämer 1992), of which 1.63 is the 99 % point.
package zero
