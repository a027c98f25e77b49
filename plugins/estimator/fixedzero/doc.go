// Package fixedzero is the estimator that measures a channel's zero once and holds it: what a careful operator does by hand.
//
// The zero is taken from the first rest, a span the contactor or an operator says carried no current; or it is declared in the
// settings; or it is taken anew from each rest. Between rests the offset stays as it is and its uncertainty grows as a random walk.
//
// The zero of a rest is the mean over its readings. Its standard uncertainty combines the scatter of the rest's summaries (so that
// readings that hang together are not counted as independent) and the residual current that may have flowed:
// u² = s²/m + u_residual², with s the standard deviation of the m summaries' means. Summaries of unlike length weigh by their readings, and
// u is never taken to be less than the scatter within the summaries allows. Until a rest is long enough the declared zero holds, or zero
// with the channel's own zero uncertainty. Scans that were lost, or a clock that was set back, end a rest: what flowed then is not known.
package fixedzero
