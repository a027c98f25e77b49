// Package stability tells from a log taken without current how noisy a sensor is and how its zero wanders.
//
// # Contract
//
// Every function computes from its arguments alone and changes nothing it is given unless its comment says so. Nothing is started, locked,
// read or written; calls may run concurrently. The same input gives the same result. Currents are amperes, temperatures degrees
// Celsius, durations seconds, times of readings whole nanoseconds. A Log must be sound (Log.Check).
//
// # From log to grid
//
// The Allan deviation is defined for evenly spaced values. Arrange makes these and reports what it did:
//
//  1. The interval is the median of the log's, or what the caller says.
//  2. Longer than 2.5 intervals without a reading is a gap. A gap splits the log into segments; nothing is invented in it. Terms are
//     formed within segments only, and the sums of all segments are divided by the number of all terms.
//  3. If every other interval is within 5 % of the median, the readings are taken as they are, and the spacing is the mean interval.
//  4. If not, readings are averaged, unweighted, in buckets of one interval counted from the segment's first reading. A bucket that
//     stays empty (one lost reading) gets the straight line between its neighbours, and is counted as bridged.
//
// A segment of one value serves nothing; its reading is counted as left out.
//
// # Stability
//
// Deviations follow W. J. Riley, Handbook of Frequency Stability Analysis, NIST Special Publication 1065 (2008), with current in the place
// of fractional frequency: Allan, overlapping Allan and modified Allan. The equivalent degrees of freedom of the overlapping one are those of
// its table of approximations for each noise type, the type is found by the lag-1 autocorrelation (Riley and Greenhall 2004), and limits are
// those of χ². From where fewer than 30 averages are left, the last type found stays.
//
// FitNoise takes the log–log curve apart into σ²(τ) = N²/τ + (2 ln 2/π)·B² + K²·τ/3 + R²·τ²/2: white noise density N (A·√s), flicker floor
// B (A), random-walk density K (A/√s), drift R (A/s), by weighted least squares with no term below zero. Values at different τ come
// from the same readings and hang together; their covariance under the fitted noise (Gaussian, exact up to the spacing of a sum) enters the uncertainties.
package stability
