package plugin

import (
	"context"
	"errors"
	"sync"

	goplugin "github.com/hashicorp/go-plugin"
	"google.golang.org/grpc"

	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// ProtocolVersion is the version of the plugin protocol this package speaks.
const ProtocolVersion = 1

// MaxMessageBytes is the longest message either side takes, as it is on the wire.
const MaxMessageBytes = 64 << 20

// The kinds of plugin, as the two sides name them to each other.
const (
	KindDriver    = "driver"
	KindEstimator = "estimator"
)

// Handshake keeps a plugin from being started by hand and a daemon from starting what is no plugin. It is no secret.
var Handshake = goplugin.HandshakeConfig{
	MagicCookieKey:   "AMPLEDGER_PLUGIN",
	MagicCookieValue: "6f0b6f5e-raw-readings-in-amperes-out",
}

// ClientSets is what a daemon offers to speak: for each protocol version the kinds of plugin.
// Dispensing KindDriver gives a pluginv1.DriverServiceClient, KindEstimator a pluginv1.EstimatorServiceClient.
func ClientSets() map[int]goplugin.PluginSet {
	return map[int]goplugin.PluginSet{ProtocolVersion: {
		KindDriver:    &driverWire{},
		KindEstimator: &estimatorWire{},
	}}
}

var errNotServed = errors.New("this process is a client")

type driverWire struct {
	goplugin.NetRPCUnsupportedPlugin
	driver Driver
	work   *sync.WaitGroup // the stream, while it runs
}

// GRPCServer registers the driver; called by go-plugin in the plugin's process.
func (w *driverWire) GRPCServer(_ *goplugin.GRPCBroker, server *grpc.Server) error {
	if w.driver == nil {
		return errNotServed
	}
	pluginv1.RegisterDriverServiceServer(server, &driverServer{driver: w.driver, work: w.work})
	return nil
}

// GRPCClient gives the generated client; called by go-plugin in the daemon.
func (w *driverWire) GRPCClient(_ context.Context, _ *goplugin.GRPCBroker, conn *grpc.ClientConn) (any, error) {
	return pluginv1.NewDriverServiceClient(conn), nil
}

type estimatorWire struct {
	goplugin.NetRPCUnsupportedPlugin
	estimator Estimator
	work      *sync.WaitGroup // the session, while it runs
}

// GRPCServer registers the estimator; called by go-plugin in the plugin's process.
func (w *estimatorWire) GRPCServer(_ *goplugin.GRPCBroker, server *grpc.Server) error {
	if w.estimator == nil {
		return errNotServed
	}
	pluginv1.RegisterEstimatorServiceServer(server, &estimatorServer{estimator: w.estimator, work: w.work})
	return nil
}

// GRPCClient gives the generated client; called by go-plugin in the daemon.
func (w *estimatorWire) GRPCClient(_ context.Context, _ *goplugin.GRPCBroker, conn *grpc.ClientConn) (any, error) {
	return pluginv1.NewEstimatorServiceClient(conn), nil
}
