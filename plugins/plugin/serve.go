package plugin

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/hashicorp/go-hclog"
	goplugin "github.com/hashicorp/go-plugin"
	"google.golang.org/grpc"
)

// ServeDriver serves d until the daemon ends it. It does not return while the daemon lives.
func ServeDriver(d Driver) {
	var work sync.WaitGroup
	serve(goplugin.PluginSet{KindDriver: &driverWire{driver: d, work: &work}}, &work)
}

// ServeEstimator serves e until the daemon ends it. It does not return while the daemon lives.
func ServeEstimator(e Estimator) {
	var work sync.WaitGroup
	serve(goplugin.PluginSet{KindEstimator: &estimatorWire{estimator: e, work: &work}}, &work)
}

// closing is how long the stream or the session may take to return once the daemon has ended it.
const closing = time.Second

func serve(set goplugin.PluginSet, work *sync.WaitGroup) {
	goplugin.Serve(&goplugin.ServeConfig{
		HandshakeConfig:  Handshake,
		VersionedPlugins: map[int]goplugin.PluginSet{ProtocolVersion: set},
		GRPCServer:       newServer(os.Stderr),
		Logger:           hclog.NewNullLogger(),
	})
	returned := make(chan struct{})
	go func() {
		work.Wait()
		close(returned)
	}()
	timer := time.NewTimer(closing)
	defer timer.Stop()
	select {
	case <-returned:
	case <-timer.C:
	}
}

// newServer makes the gRPC server. While it serves, go-plugin leads os.Stderr through a call, where the last words of a process that dies
// are lost; the first call to come in sets it back to what it was.
func newServer(stderr *os.File) func([]grpc.ServerOption) *grpc.Server {
	var once sync.Once
	direct := func(ctx context.Context, request any, _ *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
		once.Do(func() { os.Stderr = stderr })
		return handle(ctx, request)
	}
	return func(options []grpc.ServerOption) *grpc.Server {
		go endWithDaemon() // not before: go-plugin has found that a daemon started us
		return grpc.NewServer(append(options,
			grpc.MaxRecvMsgSize(MaxMessageBytes), grpc.MaxSendMsgSize(MaxMessageBytes), grpc.UnaryInterceptor(direct))...)
	}
}

// endWithDaemon ends this process when the daemon that started it is gone, however it went: a killed daemon closes nothing itself, but the
// kernel closes its end of our standard input. Unlike the parent's number this tells also behind a script that started us, and at once.
func endWithDaemon() {
	_, _ = io.Copy(io.Discard, os.Stdin)
	removeSockets(os.Getenv(goplugin.EnvUnixSocketDir))
	os.Exit(1)
}

// removeSockets removes the folder that the daemon made for our socket and would have removed.
func removeSockets(folder string) {
	if folder == "" {
		return
	}
	sockets, _ := filepath.Glob(filepath.Join(folder, "plugin*")) // the pattern is well formed
	for _, socket := range sockets {
		_ = os.Remove(socket)
	}
	_ = os.Remove(folder) // if it holds anything else, it stays
}
