// Package physics is the simulated battery pack itself: a true current, a shunt and a magnetic channel with their errors, and faults.
//
// A Rig says what there is; it is read only, so one rig serves any number of runs at once. A Generator is one run of it:
//
//	run, scan := physics.New(rig, seed), physics.Scan{}
//	for run.Next(&scan) { … }
//
// Next allocates nothing, does no I/O, knows no clock and starts no goroutine; a Generator belongs to one goroutine at a time. The
// same rig and seed give the same scans to the last bit on one kind of processor. All chance comes from streams of the seed, one for
// each purpose, so that adding a sensor, an error or a fault draws nothing from the others. A rig is not checked here: package
// simulate builds it of settings and checks them (simulate.NewRig), and whoever fills one in by hand keeps to what its fields say.
//
// Positive current is discharge. Errors are stated in amperes of a reading that is converted with the nominal figures, and are added:
//
//	shunt     V = ((I·(1 + g) + offset + walk + noise)·R(T) + thermo-EMF)·gain
//	magnetic  V = (V₀ + S·(I·(1 + g) + offset + walk + noise + b₁·(T−T₀) + b₂·(T−T₀)² + hysteresis))·supply/nominal
//
// T is the temperature of the sensor's body, one thermal node that follows the ambient and the dissipated power; what the temperature
// input says is a thermometer's view of it, late, noisy and in steps. The true offset of a sensor is what a perfect estimator would
// subtract: the reading without noise, quantisation, saturation and faults, converted with the measured temperature of the resistance
// (shunt) or the true supply and no zero coefficient of temperature (magnetic), less the true current.
//
// Random processes and lags are stepped exactly for a drive held from scan to scan, so their laws do not depend on the rate.
//
// Sources, from memory: the play operator and its properties, M. A. Krasnosel'skii and A. V. Pokrovskii, Systems with Hysteresis
// (1989), P. Krejčí, Hysteresis, Convexity and Dissipation in Hyperbolic Equations (1996), and I. D. Mayergoyz, Mathematical Models of
// Hysteresis (1991) for wiping-out and congruence; ferromagnetic hysteresis, D. C. Jiles and D. L. Atherton, Theory of ferromagnetic
// hysteresis, J. Magn. Magn. Mater. 61 (1986) 48–60.
package physics
