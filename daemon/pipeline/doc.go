// Package pipeline runs the stages of each conductor in order and owns the goroutines of the data path.
//
//	driver ─frames─▶ Device ─▶ Conductor ─┬─ span ─▶ sensor ▶ offset ▶ guard ▶ charge ▶ Sink
//	                                      └─ summary ─▶ Estimator … newest estimate ─▶ offset
//
// A Device reads one Source, as a rule a driver's process, and hands its frames to the conductors that have a channel there, within its own goroutine: the
// driver's stream is the only queue, so a pipeline that cannot keep up slows its driver down and holds no more than a frame.
// A Conductor cuts a frame where a summary begins, at a multiple of the device's summary length, so that how a driver cuts its
// frames changes no result; all of a frame goes through under the conductor's lock, so that a swap of estimators falls between two frames.
//
// Estimators are never on the path of a reading: summaries go to a bounded queue, answers are taken up at the start of the next
// summary. In lockstep (offline, or with a rig that waits) the pipeline waits for each answer instead, so that the same input gives the same output.
//
// What comes out goes to a Sink: first what must be stored (entries, events), then what is told. A Sink must not block for long;
// it is called under the conductor's lock.
//
// Goroutines: Device.Run and Conductor.Run are the caller's own; a Conductor's estimators run in goroutines of its own which have all
// ended when Conductor.Close returns.
package pipeline
