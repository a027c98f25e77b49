// Package client is the Go library for programs that use the daemon: it dials, follows readings and events through interruptions,
// feeds a device with a rig's scans, and gives the generated clients for everything else.
//
// A Client is safe for concurrent use. It starts no goroutine but gRPC's own, which end with Close.
package client
