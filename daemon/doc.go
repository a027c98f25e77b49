// Package daemon is the daemon as a library: it puts the rooms together as a configuration says and runs them.
//
// A device whose driver is `feed` is no plugin: a rig pushes its scans to the daemon's own services. Its settings are those of package rig.
//
// Run serves until its context ends; Process takes finite recordings through the same pipeline, offline and in lockstep. Everything
// either starts has ended when it returns: goroutines, plugin processes, the store and the socket.
package daemon
