// Package service serves the daemon's gRPC API: thin, it translates and calls.
//
// Readings go out through one Hub for each conductor. A frame is encoded once; subscribers share the bytes. The hub retains the
// newest frames up to a bound on the memory they take, and each subscriber reads it at its own pace: one that falls behind the retained
// frames is told exactly which readings it lost and goes on; it never delays another, or the pipeline. Only of sequences from before
// the daemon's start it is not known which had readings: asked for, all of them count as lost.
//
// Events go out through Events: RAISED as soon as the guard has seen them, RECORDED when they are on disk, each to every subscriber in the
// order of the log. A subscriber that is too slow is told how many changes it lost and can resume by log sequence.
//
// A rig's scans come in through FeedService: one message is read ahead and one frame is on its way at a time, which is all that a rig can
// fill. In lockstep an Aftermath gathers what follows from it.
//
// A stream sends its headers when it has begun: its caller misses nothing from then on. One of readings ends well when the conductor's
// devices have come to their end (Hub.End); when the daemon stops (Hub.Close, Events.Close) streams end with UNAVAILABLE after what is left.
//
// Hub and Events are safe for concurrent use and start no goroutine; the goroutines of a Server are gRPC's, and one for each rig; they end with
// Serve.
package service
