// Package fusion is the stage that makes one current of several channels which measure the same current scan by scan: their
// minimum-variance combination, without whichever channel cannot be used at a scan, and with its uncertainty.
//
// # Contract
//
// A Stage has state of its own, no goroutine, no lock, no clock but the readings'; after New it allocates only while its buffers grow. It
// is not safe for concurrent use. The channels are read by one device; their readings are compensated already, with one offset a
// channel throughout a summary, and count the same direction positive. At the beginning of each summary Weigh settles what holds for
// it; then Apply takes its readings; at its end Take gives what the estimator is told. A batch never spans two summaries. The same
// readings give the same bits, however they are cut into batches: amperes, qualities and shares, and for each usable reading the
// uncertainties and the offset stated.
//
// Currents are in amperes, times in ns, all uncertainties standard.
//
// # Weights
//
// With C the covariance of what is wrong with the channels' means over a summary, w = C⁻¹1/(1ᵀC⁻¹1) has the least variance of all
// weights that sum up to 1 (Gauss and Markov; with covariances A. C. Aitken, Proc. Roy. Soc. Edinburgh 55 (1935) 42; from memory). Without
// covariances it is the weighted mean, w ∝ 1/u². C is noise²/n on the diagonal and, for each pair, what an estimator states; or, where it
// states nothing, zero² + (gain·I)² on the diagonal and 0 beside it. I is the greatest of the channels' newest means: they measure
// one current, and to weigh each by its own reading would favour the one that reads too little.
//
// Weights are never negative. A negative one says: the better channel errs like the worse one, only less, so go on from the worse
// beyond the better. That leaves the range of what was measured, on the strength of a covariance alone (two values, 1.5 and 1.0, combined
// to 0.88: R. W. Peelle's puzzle, 1987; from memory). Such a set gets the weights of whichever set with one channel less has the least
// variance. That is the exact minimum under w ≥ 0: variance is convex, so with the free minimum outside, the other has some weight 0.
//
// Covariances that cannot be, or that leave nothing to choose by (two channels without any error), are no reason to stop: such channels
// are weighted by the diagonal alone, equal ones equally, and their uncertainty is stated as if all erred the same way. An uncertainty
// that is negative, not finite or above 2³¹ − 1 counts as that absurd figure, which says what a zero would hide.
//
// # What is stated
//
// Of a set of channels: NoiseAmperes √Σ(wσ)² for one reading; GainRatio √Σ(w·g)², the channels' gains being independent; ZeroAmperes, what
// else is wrong: by the covariances wᵀCw less that gain part and the noise, yet never below √Σ(w·zero)², and never below what the
// channels were seen to disagree by (see below). So where a filter knows a gain better than is stated, its knowledge shows in the
// weights, not in GainRatio.
//
// A batch states the largest figures of the sets used in the summary so far, as it is better told too much for the rest of a summary than
// too little for a reading. Where they grow an output ends, and Apply has to be called again for the rest: only so do they not depend on
// how the readings are cut. They never shrink within a summary, so that is rare.
//
// Offset is Σ w·offset of the set in use where the figures grew last. It is a label: where the set changes without a growth it does not
// follow. What was subtracted from a summary's charge, exactly, is the sum of its shares' coulombs less the charge itself.
//
// # No step beyond the uncertainty
//
// Let S be the channels used at one usable scan, T those at the next and R those used at both. Where the weights change (a channel leaves
// or returns, or a summary begins), the fused current moves by what R saw and, besides, by a step that the change alone makes: f_R − f_S at
// the scan before and f_T − f_R at the one after, both of which can be seen. ZeroAmperes at the scan after is at least the sum of their
// magnitudes, and stays so to the end of the summary. This holds always, from the first change on, whatever the channels' errors are;
// only where R is empty there is nothing to compare. The summary states no less than R would, either. Against the true current there
// comes what the gain errors of R make of its movement from one scan to the next, as without any change.
//
// Beyond that summary: for each channel i used together with others, the stage keeps the mean over the summary of d, by how much the fused
// current would move without it; the noise of the mean is taken off in squares. In all later summaries, until the channel has been used
// together with others again, a set without i states no less than |d| at the current at which it was seen, of which the gain explains
// its part: so a channel may return as it left. A set with i is the better for it, and is widened only if d is more than the
// covariances allow: the best estimate hangs together with nothing that it leaves, so d has the variance v₋ᵢ − v, and zero and gain together
// are widened by |d| over its root, though by no more than to |d|: the idea of R. T. Birge's ratio (Phys. Rev. 40 (1932) 207; from memory).
// Before a channel was seen beside others, nothing is known of it but its stated uncertainties. The mean is over the scans that follow
// one with the same channels.
//
// # Shares
//
// A share is the integral of a channel's weight and of weight times current before any estimated offset, over the same intervals in the
// same way as a charge account integrates the fused readings: trapezoids, or rectangles for means, straight lines where a gap hides
// what flowed, wall-clock time across a restart. The integrals of the weights sum up to the time integrated since New.
package fusion
