// Package daemon is the daemon as a library: it puts the rooms together as a configuration says and runs them.
//
// Run serves until its context ends; Process takes finite recordings through the same pipeline, offline and in lockstep. Everything
// either starts has ended when it returns: goroutines, plugin processes, the store and the socket.
package daemon
