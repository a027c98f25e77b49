// Package biasfilter is the estimator that follows the offsets of all channels of a conductor in one linear Kalman filter, and with them how
// much too large each channel's integral of the current has become, so that what a rest or a mark teaches about an offset corrects the
// charge that was counted before it, with its uncertainty.
//
// # Model
//
// A channel reads y = I + φᵀθ + n, with I the current, n noise that is independent from reading to reading and
//
//	θ = [b, k, h₁ … h_m, g],   φ = [1, T − T₀, z₁ … z_m, I]:
//
// the zero b (A), which walks with the density q (A²/s); its drift k (A/K) from the temperature T₀, the first measured or a setting;
// the hysteresis h_i (A) by the outputs z_i of play operators, which the host runs at full rate (see PlayHalfWidths); the gain's error g. Beside
// θ the state holds, for each channel,
//
//	B  what the raw integral is too large by since the first summary (C), Ḃ = φᵀθ
//	ε  the error of a rest's mean that no averaging removes (A): rounding, colour, hysteresis the operators do not show; constant in a rest,
//	   drawn anew in each, N(0, floor² + misfit²)
//	M  B at the newest mark (C)
//
// and, for the conductor, the current ρ in a rest (A), drawn anew in each, and ρ̄, the same in each, N(0, u²/2) both for a residual
// current of u: a standing load is there each time, and would be averaged away if it were only drawn anew; and the errors e of the
// newest mark and of the one being taken (C); and the fused charge B_f (C), what the integral of the conductor's fused current, the mean of its
// channels by weights that the host chooses, is too large by since the first summary that had one.
//
// # Time
//
// A summary whose integral covers D seconds moves the state so, φ̄ being the means over the summary (of the current, the integral over D less
// the offset as it is known then):
//
//	load: B += D·φ̄ᵀθ;  P_bb += qD,  P_bB += qD²/2,  P_BB += qD³/3
//	rest: B += R − (ρ + ρ̄)·D, R being the raw integral, noise and all;  P_bb += qD
//
//	load: B_f += Σ W·φ̄ᵀθ;        P_bB_f += αqD²/2,  P_BB_f += αqD³/3,  P_B_fB_f += Σ α²qD³/3
//	rest: B_f += Σ αR − (ρ + ρ̄)·Σ W
//
// W being the integral of a channel's weight, taken to be α = W/D all the while, and φ̄'s current that of the channel as it was weighed. In a
// rest the charge itself is known. The scan interval that leads into a rest, and scans that were lost before a summary of a rest, count
// as load. Time that no integral covers lets b walk and B stand. B and B_f leave out the noise of the readings under load: it is another's to add.
//
// # Measurements
//
// All are scalar and enter one after the other in Joseph's form:
//
//	rest:        ȳ = φ̄ᵀθ + ρ + ρ̄ + ε + n, without gain, z as it was when the rest began;  var n = max(s², noise²)/count
//	difference:  ȳ_a − ȳ_b = φ̄_aᵀθ_a − φ̄_bᵀθ_b + n over at least difference_seconds of load;  var n = floor² + noise + timing
//	marks:       Q_raw(t₁,t₂) − (X₂ − X₁) = B − M − e₂ + e₁ + n
//
// Marks come with a summary and hold as of its last scan. A channel of another device takes part if its newest summary ends nearby, with what may
// have flowed in between as noise. In a difference the current is the same for both channels, the mean of what they read.
//
// In a rest z is held because its true value cannot change, while the operators follow the noise of the very readings that are measured, divided
// by their half-width: over a long rest h would be drawn towards the half-width.
//
// What its normalised innovation squared puts beyond the gate is not believed: a rest is then taken as load, of every channel, and noted
// once ("rest rejected"); channels note "channels disagree", marks "marks contradict"; a mark that cannot be used at all is noted as "mark refused".
// A rest that stays rejected for long is held against the prior; where that would believe it, θ of the channel begins anew ("prior re-opened";
// see reopen.go). A rest is what the summary calls one, and a quiet small current only if the setting quiescence says so. A figure that is none
// is passed over.
//
// # Answers
//
// The offset is b + k(T − T₀) + Σhz at the newest regressors, without the gain's part, which changes with the current; its uncertainty is
// widened for the regressors' going on as they did in the last summary, (h² + var h)·Δz². The walk is √q. The correction is B, with all parts.
// To a summary with a fused current come B_f and the covariances of the channels' errors, the gain's part at the newest current among them.
//
// # Limits
//
// What is not in the model is not in the uncertainty: linearity, a temperature that is not the sensor's, the colour of the noise. The settings
// floor_amperes and difference_floor_amperes are there to state it. The noise of the readings under load counts as independent of B, though
// differences with a better channel show some of it: what a poor channel beside a good one states is too large then.
//
// The same summaries in the same order give the same bits on one architecture. An Estimator starts no goroutine, reads no clock and is not safe
// for concurrent use; a summary that notes nothing allocates only its answer.
package biasfilter
