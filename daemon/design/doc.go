// Package design says what the channels of a configuration will be able to measure, before a single reading was taken: for whoever chooses a sensor.
//
// # Contract
//
// Examine makes a Study of candidates and a question. It computes from its arguments alone, changes none of them, starts nothing and may be called
// concurrently; the same input gives the same study. Currents are amperes with the sign of the conductor, temperatures degrees Celsius, times
// seconds, charges ampere-hours. Uncertainties are standard ones where their name does not say expanded. A figure that is not known is nil; nothing
// is assumed for one.
//
// # What a budget holds
//
// The lines that are Stated are what the daemon itself states of a reading before any estimate: noise, rounding, zero, gain, with the sensor stage's
// own figures, and their combination is the stage's to the last bits. The other lines come from data_sheet, from temperature coefficients that
// nothing corrects, and from what the conductor's estimator declares of the channel; the daemon leaves them to the stated zero and gain. Whoever
// stated a zero that has them in it must not write them into data_sheet as well.
//
// The temperature asked for is that about the sensor. A shunt with self_heating is warmer by its steady rise at the current.
//
// # Comparisons
//
// Channels of one conductor are held against each other; where every conductor has but one channel, all of them are. What a comparison says follows
// from the figures of the study and nothing else.
package design
