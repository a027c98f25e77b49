package plugin

import (
	"os"
	"time"

	"github.com/hashicorp/go-hclog"
	goplugin "github.com/hashicorp/go-plugin"
)

// ServeDriver serves d until the daemon ends it. It does not return while the daemon lives.
func ServeDriver(d Driver) {
	serve(goplugin.PluginSet{KindDriver: &driverWire{driver: d}})
}

// ServeEstimator serves e until the daemon ends it. It does not return while the daemon lives.
func ServeEstimator(e Estimator) {
	serve(goplugin.PluginSet{KindEstimator: &estimatorWire{estimator: e}})
}

func serve(set goplugin.PluginSet) {
	go exitWithParent(os.Getppid())
	goplugin.Serve(&goplugin.ServeConfig{
		HandshakeConfig:  Handshake,
		VersionedPlugins: map[int]goplugin.PluginSet{ProtocolVersion: set},
		GRPCServer:       goplugin.DefaultGRPCServer,
		Logger:           hclog.NewNullLogger(),
	})
}

// exitWithParent ends this process when the daemon that started it is gone, however it went: a killed daemon closes nothing itself.
// Polling works on every unix; a death signal of the kernel's would follow the starting thread, not the process.
func exitWithParent(parent int) {
	for range time.Tick(time.Second) {
		if os.Getppid() != parent {
			os.Exit(1)
		}
	}
}
