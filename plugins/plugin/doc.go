// Package plugin is what an author of a driver or an estimator needs: a small interface to implement and a call to serve it.
//
//	func main() { plugin.ServeDriver(&myDriver{}) }
//
// A plugin is an executable of its own that the daemon starts, once for each device or conductor, and talks to over gRPC on a unix
// socket (mutual TLS with a key made for each start). It gets an empty environment, an end with the daemon, and its standard error
// in the daemon's log. Standard output belongs to the handshake: a plugin must not print there.
//
// The daemon calls the methods of one plugin one at a time, except where a method says otherwise. Types named after messages of
// ampledger.plugin.v1 are these messages; their units stand in their field names. This package does not know the daemon.
package plugin
