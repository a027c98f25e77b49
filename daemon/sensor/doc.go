// Package sensor turns one column of raw values into amperes with their static uncertainty: counts to volts to amperes.
//
// Three kinds of sensor: a shunt, I = V/(G·R(T)); a magnetic sensor, I = (V − V_q)/(S·n), zero and sensitivity following temperature
// and, if so wired, the supply; and a meter that reports amperes itself. A calibration y = (x − a₀)/a₁ may follow, and what commissioning
// found (Correction): a zero, a drift, a gain, or a curve up to the third degree.
// For one temperature and supply each of them is a straight line from raw value to amperes, so a batch in which neither moves costs
// a multiplication and an addition a reading.
//
// Saturation is judged on the raw value, before conversion; a saturated reading keeps the amperes of the rail, since the current is at
// least that. A reading that cannot be used is flagged (see scan.Quality), counted by others, never dropped.
//
// A Sensor is a stage: state of its own, no goroutine, no clock but the frame's, no allocation once its buffers have grown. It is not
// safe for concurrent use. How a driver cuts its frames changes no result.
package sensor
