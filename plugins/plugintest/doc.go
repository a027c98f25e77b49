// Package plugintest starts a plugin's executable, of any language, the way the daemon does: the same handshake, cookie, transport and
// standard streams, an environment that is empty but for what is listed, and no daemon. The conformance suites drivertest and estimatortest
// stand on it.
//
// A Process is safe for concurrent use. Starting one starts goroutines of go-plugin's, which end with Close; whoever starts a process closes
// it. Every wait is bounded by Patience, which is far more than the daemon grants: a slow machine fails no suite.
package plugintest
