// Package budget adds up what makes a figure uncertain, as the Guide to the Expression of Uncertainty in Measurement (JCGM 100:2008, the GUM) has it,
// and says what that does to a charge.
//
// # Contract
//
// Everything is a plain value computed from its arguments. Nothing is started, locked, read or written; calls may run concurrently. A Budget knows no
// units: the amounts of its contributions must have one unit, which is the result's. An Effect is in amperes, a charge in coulombs, times in seconds.
//
// # A budget
//
// A contribution's standard uncertainty is its value over the divisor of its distribution; times its sensitivity it is the amount it adds to the
// result. Contributions are independent of each other; amounts add as squares (GUM 5.1.2). The effective degrees of freedom are those of Welch and
// Satterthwaite (G.4.1), truncated to a whole number for the coverage factor, which is Student's quantile; infinite ones make it that of the normal
// distribution.
//
// # From amperes to a charge
//
// An Effect keeps apart what adds up differently in time: noise, new with every reading, grows as √t; what is the same for all readings grows as t;
// what is in proportion to the current grows with the net charge. The zero may wander as a random walk besides. Growth says what of it is left when
// rests show the zero and marks show the charge; it assumes that whoever uses them does no better than a straight line between two rests, and so is
// on the safe side of a filter.
package budget
