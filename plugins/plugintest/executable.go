package plugintest

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os/exec"
	"time"

	"github.com/hashicorp/go-hclog"
	goplugin "github.com/hashicorp/go-plugin"
	"github.com/hashicorp/go-plugin/runner"
	"google.golang.org/grpc"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// Patience is the longest wait for anything a plugin is to do.
const Patience = 30 * time.Second

// Executable is a plugin's program with what the daemon's configuration would say of it.
type Executable struct {
	Path        string   // absolute, or relative to the working directory
	Arguments   []string // its arguments
	Environment []string // what its environment holds, each KEY=VALUE; empty otherwise
	Plaintext   bool     // it talks without TLS

	starting, patience time.Duration // to be ready, for anything else; for tests of this package, 0 = Patience
}

// Start starts the executable as a plugin of a kind (plugin.KindDriver or plugin.KindEstimator), until it can be called. On an error nothing
// is left running; the error holds what the plugin wrote last.
func (x Executable) Start(ctx context.Context, kind string) (*Process, error) {
	p, starting := x.process(), cmp.Or(x.starting, Patience)
	ctx, cancel := context.WithTimeoutCause(ctx, starting, fmt.Errorf("was not ready within %v", starting))
	defer cancel()
	stop := context.AfterFunc(ctx, p.child.kill)
	err := p.dispense(kind)
	if !stop() {
		err = context.Cause(ctx)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w%s", x.Path, errors.Join(err, p.Close()), p.errors.lastWords())
	}
	return p, nil
}

// command is how the executable is run, apart from what the handshake adds.
func (x Executable) command() *exec.Cmd {
	cmd := exec.Command(x.Path, x.Arguments...)
	cmd.Env = append([]string{}, x.Environment...) // not nil: nil would hand on ours
	return cmd
}

// process prepares a process; nothing is started yet.
func (x Executable) process() *Process {
	p := &Process{patience: cmp.Or(x.patience, Patience), child: &child{cmd: x.command(), plaintext: x.Plaintext, exited: make(chan struct{})}, errors: &tail{}}
	p.client = goplugin.NewClient(&goplugin.ClientConfig{
		HandshakeConfig:  plugin.Handshake,
		VersionedPlugins: plugin.ClientSets(),
		AllowedProtocols: []goplugin.Protocol{goplugin.ProtocolGRPC},
		RunnerFunc: func(_ hclog.Logger, spec *exec.Cmd, folder string) (runner.Runner, error) {
			p.child.cmd.Env, p.child.folder = append(p.child.cmd.Env, spec.Env...), folder
			return p.child, nil
		},
		AutoMTLS:     !x.Plaintext,
		SkipHostEnv:  true,
		StartTimeout: 2 * Patience, // never reached: see Start
		SyncStderr:   p.errors,
		Stderr:       p.errors,
		Logger:       hclog.NewNullLogger(),
		GRPCDialOptions: []grpc.DialOption{
			grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(plugin.MaxMessageBytes), grpc.MaxCallSendMsgSize(plugin.MaxMessageBytes)),
		},
	})
	return p
}
