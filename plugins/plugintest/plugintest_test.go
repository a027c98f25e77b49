package plugintest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/hashicorp/go-hclog"
	goplugin "github.com/hashicorp/go-plugin"
	"go.uber.org/goleak"
	"google.golang.org/grpc"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// The test's own executable is also the plugins that are checked: with the name of a character as its argument.
func TestMain(m *testing.M) {
	if len(os.Args) == 2 && characters[os.Args[1]] != nil {
		characters[os.Args[1]]()
		return
	}
	goleak.VerifyTestMain(m)
}

var characters = map[string]func(){
	"good": func() { plugin.ServeDriver(idle{}) },
	"lax": func() { // takes no notice of the cookie
		if err := os.Setenv(plugin.Handshake.MagicCookieKey, plugin.Handshake.MagicCookieValue); err != nil {
			panic(err)
		}
		plugin.ServeDriver(idle{})
	},
	"meek":     func() { beWithCookie(os.Exit) },
	"talker":   func() { beWithCookie(func(int) { fmt.Println("1|1|unix|nowhere|grpc|"); os.Exit(1) }) },
	"stubborn": func() { signal.Ignore(syscall.SIGTERM); plugin.ServeDriver(idle{}); hang() },
	"orphan":   func() { serveRaw(goplugin.DefaultGRPCServer) },
	"sick": func() {
		serveRaw(func(o []grpc.ServerOption) *grpc.Server { return grpc.NewServer(append(o, refuseHealth)...) })
	},
	"quits":  func() { fmt.Fprintln(os.Stderr, "first\nno such port"); os.Exit(3) },
	"silent": hang,
}

func hang() { <-make(chan struct{}) }

type idle struct{}

func (idle) Configure(context.Context, string, plugin.Settings) (*plugin.Description, error) {
	return &plugin.Description{Inputs: []*plugin.Input{{Name: "a", Unit: "A"}}}, nil
}

func (idle) Stream(ctx context.Context, _ func(*plugin.Frame) error) error {
	<-ctx.Done()
	return nil
}

// beWithCookie serves if a daemon started it, else ends in its own way.
func beWithCookie(otherwise func(status int)) {
	if os.Getenv(plugin.Handshake.MagicCookieKey) == "" {
		otherwise(0)
	}
	plugin.ServeDriver(idle{})
}

var refuseHealth = grpc.UnaryInterceptor(func(ctx context.Context, request any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
	if strings.HasPrefix(info.FullMethod, "/grpc.health") {
		return nil, errors.New("unwell")
	}
	return handle(ctx, request)
})

// nothing is a plugin that serves nothing.
type nothing struct {
	goplugin.NetRPCUnsupportedPlugin
}

func (nothing) GRPCServer(*goplugin.GRPCBroker, *grpc.Server) error { return nil }
func (nothing) GRPCClient(context.Context, *goplugin.GRPCBroker, *grpc.ClientConn) (any, error) {
	return nil, errors.New("this process is a plugin")
}

// serveRaw serves without what the package for authors adds: it does not look at standard input.
func serveRaw(server func([]grpc.ServerOption) *grpc.Server) {
	goplugin.Serve(&goplugin.ServeConfig{
		HandshakeConfig: plugin.Handshake, GRPCServer: server, Logger: hclog.NewNullLogger(),
		VersionedPlugins: map[int]goplugin.PluginSet{1: {"raw": nothing{}}},
	})
}

func character(name string) Executable {
	return Executable{Path: os.Args[0], Arguments: []string{name}, Environment: []string{"GORACE=atexit_sleep_ms=0"}}
}

func TestGoodPlugin(t *testing.T) {
	for _, plaintext := range []bool{false, true} {
		t.Run(fmt.Sprint("plaintext ", plaintext), func(t *testing.T) {
			x := character("good")
			x.Plaintext = plaintext
			x.Run(t, plugin.KindDriver)
		})
	}
}

func TestSuiteFindsFaults(t *testing.T) {
	for _, c := range []struct{ name, check, want string }{
		{"lax", "is not started by hand", "it runs without the cookie in its environment"},
		{"meek", "is not started by hand", "it ends with status 0, want an error"},
		{"talker", "is not started by hand", "want no handshake"},
		{"sick", "tells its health", `health of service "plugin": rpc error: code = Unknown desc = unwell`},
		{"stubborn", "ends when asked", "it did not end when it was asked to"},
		{"orphan", "ends with the daemon", "it runs on when its standard input has ended"},
		{"quits", "tells its health", ": no such port"},
		{"silent", "tells its health", "was not ready within 1s"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			x := character(c.name)
			switch c.name { // these let the time pass
			case "silent":
				x.starting = time.Second
			case "lax", "stubborn", "orphan":
				x.patience = time.Second
			}
			for _, each := range conduct {
				if each.name != c.check {
					continue
				}
				if err := each.check(t.Context(), x, plugin.KindDriver); err == nil || !strings.Contains(err.Error(), c.want) {
					t.Errorf("%s: error %v, want %s", c.check, err, c.want)
				}
			}
		})
	}
}

func TestTailKeepsTheEnd(t *testing.T) {
	var o tail
	fmt.Fprint(&o, strings.Repeat("x", mostTail), "\nlast words\n\n")
	if got := o.lastWords(); got != ": last words" || len(o.String()) != mostTail {
		t.Errorf("%q of %d bytes", got, len(o.String()))
	}
}
