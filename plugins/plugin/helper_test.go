package plugin

import (
	"context"
	"net"
	"sync"
	"testing"

	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"

	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// The tests in this package itself speak with the servers over a connection in memory, without go-plugin around them.

// connect serves what register registers until the test ends, which leaves no goroutine.
func connect(t *testing.T, register func(*grpc.Server)) *grpc.ClientConn {
	t.Helper()
	before := goleak.IgnoreCurrent()
	listener := bufconn.Listen(1 << 16)
	server := grpc.NewServer(grpc.WaitForHandlers(true))
	register(server)
	var serving sync.WaitGroup
	serving.Go(func() {
		if err := server.Serve(listener); err != nil {
			t.Error(err)
		}
	})
	connection, err := grpc.NewClient("passthrough:memory", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		connection.Close()
		server.Stop()
		serving.Wait()
		goleak.VerifyNone(t, before)
	})
	return connection
}

func serveDriver(t *testing.T, d Driver) (pluginv1.DriverServiceClient, *sync.WaitGroup) {
	t.Helper()
	var work sync.WaitGroup
	wire := &driverWire{driver: d, work: &work}
	return pluginv1.NewDriverServiceClient(connect(t, func(s *grpc.Server) {
		if err := wire.GRPCServer(nil, s); err != nil {
			t.Fatal(err)
		}
	})), &work
}

func serveEstimator(t *testing.T, e Estimator) (pluginv1.EstimatorServiceClient, *sync.WaitGroup) {
	t.Helper()
	var work sync.WaitGroup
	wire := &estimatorWire{estimator: e, work: &work}
	return pluginv1.NewEstimatorServiceClient(connect(t, func(s *grpc.Server) {
		if err := wire.GRPCServer(nil, s); err != nil {
			t.Fatal(err)
		}
	})), &work
}

// told is how an error reads on the wire: its code and what was said.
func told(err error) string {
	if err == nil {
		return "fine"
	}
	s := status.Convert(err)
	return s.Code().String() + ": " + s.Message()
}

func wantTold(t *testing.T, what string, err error, want string) {
	t.Helper()
	if got := told(err); got != want {
		t.Errorf("%s: %s, want %s", what, got, want)
	}
}
