// Package plugin is what an author of a driver or an estimator needs: a small interface to implement and a call to serve it.
//
//	func main() { plugin.ServeDriver(&myDriver{}) }
//
// A plugin is an executable of its own that the daemon starts, once for each device or conductor, and talks to over gRPC on a unix
// socket (mutual TLS with a key made for each start, or none if it ships with the daemon or the configuration says plaintext). It gets an empty environment and its standard error in the daemon's log, a line
// at a time; the last line, or that of a panic, stands in the daemon's error if the process ends unasked. Standard output belongs to the
// handshake: a plugin must not print there. Standard input is a pipe that holds nothing and ends when the daemon has ended, however it
// did; this package then ends the process. A plugin that is asked to end has two seconds before it is killed, with all it started.
//
// No message is longer than MaxMessageBytes. A frame of 65,536 scans, the most there may be, can hold 64 columns of doubles.
//
// The daemon calls the methods of one plugin one at a time, except where a method says otherwise. Types named after messages of
// ampledger.plugin.v1 are these messages; their units stand in their field names. This package does not know the daemon.
//
// In another language the same is done by hand: plugins/python/README.md says how.
package plugin
