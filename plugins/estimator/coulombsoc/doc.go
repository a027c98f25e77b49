// Package coulombsoc is the estimator that gives no offsets but the state of charge: it counts from the ledger's corrected charge, and is set
// right by marks. Every figure comes with its standard uncertainty.
//
// # Outputs
//
//	state_of_charge (1)         s = q/C: charge stored by capacity. It is not held between 0 and 1; beyond them it is noted.
//	charge_left_coulombs (C)    q: charge stored, from the empty pack
//	capacity_coulombs (C)       C: charge the pack holds when full
//	coulombic_efficiency (1)    η: charge out by charge in that brings the pack back to where it was
//
// The first two are left out while they are not known: before the first mark, unless a setting says where the count begins; after the ledger was
// begun anew; and with a summary without the ledger's charge, since they would be of another moment.
//
// # Model
//
// The states are x = [q, C, η]. From one moment to another, with out, in and adjustment as the ledger counted them in between,
//
//	q += −out + η·in − adjustment·(1 + η)/2
//
// and C and η walk by what the settings allow. An adjustment moves net without a flow: whether it corrects charge out or charge in is not
// known, so it is taken to be half of each, and as off by up to ±|adjustment|·(1 − η)/2, rectangular.
//
// The uncertainty of q grows between two moments by
//
//	noise  the growth of noise_square_coulombs, a variance
//	gaps   the growth of gap_bound_coulombs by √3: a rectangular distribution (GUM 4.3.7)
//	gain   the integral of gain_ratio over −out + η·in, linear: one gain measured all of it, and what flows out and back again carries no error
//	zero   linear, see below
//	η      (in − adjustment/2)·u(η), through the covariance of q and η
//
// # The zero, and adjustments that come later
//
// Charge as it was counted is off by no more than the growth of zero_coulombs, the error of the zero being as large as stated and the same all along. But
// it leaves out what was learnt later, an adjustment, because that may be of charge from before the last mark, which is settled by the mark. The other
// way takes the difference of the ledger's net, adjustments contained, as known at one moment and as known at the other:
// u² = u₁² + u₂² of net_uncertainty_coulombs, as long as the two errors of the zero are not opposed. The gain's part in it is not relied on, since
// that is opposed where net changes its sign. It is used from the moment after the mark from which it does best (most often just after a rest or a mark taught the zero), counted charge up to there. Of both
// ways the one with the smaller uncertainty is taken, so the state of charge may step when they change places; which one it is depends on
// uncertainties alone, never on the figures.
//
// # Marks
//
// A mark states the charge stored, ±u: with positive current out of the pack it is −passed_coulombs, else passed_coulombs. It is weighed against
// what is expected by their variances: one scalar step of a Kalman filter, in Joseph's form. The errors of gain and zero are not drawn anew at a
// mark, so they are carried beside the filter's covariance as what one standard deviation of them does to each state, and marks teach
// nothing of them: they are considered, not estimated (S. F. Schmidt, 1966; A. H. Jazwinski, Stochastic Processes and Filtering
// Theory, 1970, section 8.4). How much the zero's errors after different marks have in common is not known; both extremes are carried, and
// each figure states the worse.
//
// The estimator in force may learn from the same marks, and adjust net by them. What it adjusts before the moment at which counted charge hands over to
// net is left out here; from there on the marks' errors are in net at both ends and cancel.
//
// What its normalised innovation squared puts beyond the gate changes nothing and is noted ("mark not believed"). If the next mark agrees with
// that one and not with the count, both are believed ("stored charge re-opened").
//
// # What can be known
//
// Marks that state coulombs say nothing of the capacity: it stays as it is given, and so a mark at full gives a state of charge of 1 no better than
// the capacity's uncertainty. Most marks are made from a voltage, and what a voltage shows is a share. With marks: state-of-charge a mark of X coulombs
// says that q = X/C₀·C, C₀ being the capacity that is configured. Two of them far apart, with the charge counted in between, then measure the
// capacity, to within the gain's uncertainty; and the state of charge at a mark is as good as the mark. Either kind teaches η: over a
// closed cycle out = η·in.
//
// The capacity is that of the setting, or the conductor's; with neither the estimator refuses to be configured. A rating alone is taken to be
// ±5 % (standard), and η to lie anywhere between 0.99 and 1, which is common practice for lithium-ion cells, without a source; for other
// chemistries it must be given. Charge that is lost within the cells while nothing flows is not in the model, nor that capacity and efficiency depend
// on temperature and rate: their uncertainties are there to state it. The capacity's uncertainty is carried over to s to first order
// (GUM 5.1.2), which is why it may be no more than 25 %.
//
// # Runs of the daemon
//
// Charge in the ledger outlasts the daemon; what bounds its errors begins at 0 with each run. A figure that is less than before, or time away (see
// Age), says that it is another run: its figures are added whole, gap bound of the time away contained. What the run before still counted after
// its newest summary shows in the growth of net_uncertainty_coulombs; its noise is left out. If charge out or in is less than before by more than
// the new run's gaps allow, the ledger is another one.
//
// Charge that cannot be meant, such as NaN, is passed over and noted once; summaries that were missed cost nothing, since all figures are
// cumulative. The same summaries in the same order give the same bits on one architecture. An Estimator starts no goroutine, reads no clock and is not
// safe for concurrent use.
package coulombsoc
