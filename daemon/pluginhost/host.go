package pluginhost

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"github.com/hashicorp/go-hclog"
	goplugin "github.com/hashicorp/go-plugin"
	"go.uber.org/zap"
	"go.uber.org/zap/zapio"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// The longest a plugin may take for each step.
const (
	startDeadline     = 10 * time.Second
	configureDeadline = 10 * time.Second
	answerDeadline    = 10 * time.Second
)

// Program says which executable a plugin is.
type Program struct {
	Shipped     string   // a shipped plugin's name without its kind, such as "replay"; or
	Path        string   // an executable,
	SHA256      string   // its checksum in hexadecimal,
	Arguments   []string // its arguments
	Environment []string // and the names of the variables handed on to it
}

// Name is what people call the plugin.
func (p Program) Name() string {
	if p.Shipped != "" {
		return p.Shipped
	}
	return filepath.Base(p.Path)
}

// Host starts plugins. Its fields are not changed once it is used.
type Host struct {
	Executable string   // what is started for shipped plugins, with the arguments: Arguments, kind/name
	Arguments  []string // usually "plugin"
	Folder     string   // working directory of the plugins
	Log        *zap.Logger
}

// Process is a running plugin.
type Process struct {
	name   string // kind and name, for errors
	client *goplugin.Client
	log    *zapio.Writer
}

// start runs the program and gives what dispensing its kind gives: a client of its service.
func (h *Host) start(ctx context.Context, kind string, p Program) (*Process, any, error) {
	name := kind + " " + p.Name()
	config, err := h.clientConfig(kind, p)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	lines := &zapio.Writer{Log: h.Log.Named(kind + "." + p.Name()), Level: zap.InfoLevel}
	config.SyncStderr, config.Stderr = lines, lines
	process := &Process{name: name, client: goplugin.NewClient(config), log: lines}
	service, err := process.dispense(ctx, kind)
	if err != nil {
		process.Close()
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	return process, service, nil
}

// dispense brings the process up; if ctx ends first, the process is ended and waited for.
func (p *Process) dispense(ctx context.Context, kind string) (any, error) {
	stop := context.AfterFunc(ctx, p.client.Kill)
	defer stop()
	protocol, err := p.client.Client()
	if err != nil {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		return nil, explain(err)
	}
	return protocol.Dispense(kind)
}

// explain puts go-plugin's words for the usual faults into ours.
func explain(err error) error {
	if errors.Is(err, goplugin.ErrChecksumsDoNotMatch) {
		return errors.New("the executable's SHA-256 is not the configured one; it was not started")
	}
	return fmt.Errorf("did not start as a plugin: %w", err)
}

func (h *Host) clientConfig(kind string, p Program) (*goplugin.ClientConfig, error) {
	config := &goplugin.ClientConfig{
		HandshakeConfig:  plugin.Handshake,
		VersionedPlugins: plugin.ClientSets(),
		AllowedProtocols: []goplugin.Protocol{goplugin.ProtocolGRPC},
		AutoMTLS:         true,
		SkipHostEnv:      true,
		StartTimeout:     startDeadline,
		Logger:           hclog.NewNullLogger(),
	}
	if p.Shipped != "" {
		config.Cmd = exec.Command(h.Executable, append(append([]string{}, h.Arguments...), kind+"/"+p.Shipped)...)
	} else {
		if err := executable(p.Path); err != nil {
			return nil, err
		}
		sum, err := hex.DecodeString(p.SHA256)
		if err != nil || len(sum) != sha256.Size {
			return nil, fmt.Errorf("sha256 %q is not 64 hexadecimal digits", p.SHA256)
		}
		config.SecureConfig = &goplugin.SecureConfig{Checksum: sum, Hash: sha256.New()}
		config.Cmd = exec.Command(p.Path, p.Arguments...)
	}
	config.Cmd.Dir = h.Folder
	for _, name := range p.Environment {
		if value, found := os.LookupEnv(name); found {
			config.Cmd.Env = append(config.Cmd.Env, name+"="+value)
		}
	}
	return config, nil
}

func executable(path string) error {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return err
	case !info.Mode().IsRegular():
		return fmt.Errorf("%s is not a file", path)
	case info.Mode()&0o111 == 0:
		return fmt.Errorf("%s may not be executed: check its mode", path)
	}
	return nil
}

// PID is the process identifier; 0 if it is not known.
func (p *Process) PID() int {
	if attached := p.client.ReattachConfig(); attached != nil {
		return attached.Pid
	}
	return 0
}

// Exited tells whether the process has ended.
func (p *Process) Exited() bool { return p.client.Exited() }

// Close ends the process: it is asked, then after two seconds killed, and waited for. Closing again does nothing.
func (p *Process) Close() {
	p.client.Kill()
	p.log.Close()
}
