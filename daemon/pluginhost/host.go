package pluginhost

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"time"

	"github.com/hashicorp/go-hclog"
	goplugin "github.com/hashicorp/go-plugin"
	"github.com/hashicorp/go-plugin/runner"
	"go.uber.org/zap"
	"google.golang.org/grpc"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// Host starts plugins. Its fields are not changed once it is used.
type Host struct {
	Executable string   // what is started for shipped plugins, with the arguments: Arguments, kind/name
	Arguments  []string // usually "plugin"
	Folder     string   // working directory of the plugins
	Log        *zap.Logger
	Deadlines  Deadlines
	Guardian   *Guardian // ends what is left of the plugins when this process is killed; nil = nobody does

	census census
}

// Deadlines are the longest a plugin may take for each step; 0 = the default.
type Deadlines struct {
	Start     time.Duration // to be ready for the first call; 10 s
	Configure time.Duration // to answer Configure, Describe or Restore; 10 s
	Answer    time.Duration // to answer a summary or Snapshot; 10 s
	Close     time.Duration // to end when asked to, before it is killed; 2 s, which is also the most
}

func (d Deadlines) filled() Deadlines {
	const usual, most = 10 * time.Second, 2 * time.Second
	for _, one := range []*time.Duration{&d.Start, &d.Configure, &d.Answer} {
		if *one <= 0 {
			*one = usual
		}
	}
	if d.Close <= 0 || d.Close > most {
		d.Close = most
	}
	return d
}

// start runs the program and gives what dispensing its kind gives: a client of its service. If ctx ends first, the process is killed.
func (h *Host) start(ctx context.Context, kind string, p Program) (*Process, any, error) {
	name := kind + " " + p.Name()
	cmd, err := h.command(kind, p)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	process := h.process(name, cmd, p, h.Log.Named(kind+"."+p.Name()))
	process.command.behind = kind == plugin.KindEstimator // never on the path of a reading
	service, err := process.dispense(ctx, kind)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	return process, service, nil
}

// command is what is to be run, after all checks that can be made before.
func (h *Host) command(kind string, p Program) (*exec.Cmd, error) {
	var cmd *exec.Cmd
	if p.Shipped != "" {
		cmd = exec.Command(h.Executable, append(append([]string{}, h.Arguments...), kind+"/"+p.Shipped)...)
		cmd.Env = append(cmd.Env, "GOMAXPROCS=1") // each does one thing at a time, and leaves the other cores to the readings
	} else {
		path, err := p.executable(h.Folder)
		if err != nil {
			return nil, err
		}
		cmd = exec.Command(path, p.Arguments...)
	}
	cmd.Dir = h.Folder
	for _, name := range p.Environment {
		if value, found := os.LookupEnv(name); found {
			cmd.Env = append(cmd.Env, name+"="+value)
		}
	}
	return cmd, nil
}

// process prepares a process; nothing is started yet.
func (h *Host) process(name string, cmd *exec.Cmd, of Program, log *zap.Logger) *Process {
	p := &Process{name: name, journal: &journal{log: log}, deadlines: h.Deadlines.filled()}
	p.command = &command{
		cmd: cmd, plaintext: of.plaintext(), mark: ownMark + newMark(), guardian: h.Guardian, memory: of.memory(), census: &h.census,
		exited: make(chan struct{}),
	}
	p.client = goplugin.NewClient(&goplugin.ClientConfig{
		HandshakeConfig:  plugin.Handshake,
		VersionedPlugins: plugin.ClientSets(),
		AllowedProtocols: []goplugin.Protocol{goplugin.ProtocolGRPC},
		RunnerFunc: func(_ hclog.Logger, spec *exec.Cmd, folder string) (runner.Runner, error) {
			p.command.folder = folder
			cmd.Env = append(cmd.Env, spec.Env...)
			return p.command, nil
		},
		AutoMTLS:     !of.plaintext(),
		SkipHostEnv:  true,
		StartTimeout: 2 * p.deadlines.Start, // never reached: see dispense
		SyncStderr:   p.journal,
		Stderr:       p.journal,
		Logger:       hclog.NewNullLogger(),
		GRPCDialOptions: []grpc.DialOption{
			grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(plugin.MaxMessageBytes), grpc.MaxCallSendMsgSize(plugin.MaxMessageBytes)),
			grpc.WithStreamInterceptor(p.notice),
		},
	})
	return p
}
