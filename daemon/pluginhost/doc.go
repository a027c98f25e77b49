// Package pluginhost starts plugin processes, speaks the plugin protocol with them and ends them.
//
// A plugin runs in an environment that is empty but for the variables listed, in the configuration's folder, and talks over a unix
// socket with mutual TLS made for that one start, or in plain text if it is shipped or its configuration says so: its socket must then be
// in the folder that was made for it, which only the daemon's user can enter. Its standard input is a pipe that ends when the daemon does, its standard
// error is the daemon's log, a line at a time. A third-party executable is started only if its SHA-256 is the one configured.
// Everything a plugin says is checked before it is believed: what comes out of this package is well formed or an error that
// begins with the plugin's kind and name. Every wait has a deadline (see Deadlines), but for the next frame: how long a device may be
// silent is the caller's to say, by its context.
//
// A plugin is a process group, and has a mark in its environment: what it started ends with it, by either. If the daemon itself is killed, its
// Guardian, a process of its own, sees to that. An estimator gives way to other processes, so that its start delays no reading. Starting a plugin starts goroutines of go-plugin's, which end when the process is
// closed. A Process is safe for concurrent use; a Stream, and Observe of an Estimator, belong to one goroutine each.
package pluginhost
