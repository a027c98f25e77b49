package plugintest

import (
	"context"
	"io"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// child runs the executable for go-plugin (it is a runner.Runner), with a pipe as its standard input.
type child struct {
	cmd       *exec.Cmd
	plaintext bool
	folder    string        // where its socket belongs
	grace     time.Duration // for it to end once it was asked
	stdin     io.WriteCloser
	stdout    io.ReadCloser
	stderr    io.ReadCloser
	printed   tail          // what came on standard output
	exited    chan struct{} // closed when the process was waited for

	mu              sync.Mutex
	started, killed bool
}

// Start implements runner.Runner.
func (c *child) Start(context.Context) (err error) {
	if c.stdin, err = c.cmd.StdinPipe(); err != nil {
		return err
	}
	if c.stdout, err = c.cmd.StdoutPipe(); err != nil {
		return err
	}
	if c.stderr, err = c.cmd.StderrPipe(); err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	err = c.cmd.Start()
	c.started = err == nil
	return err
}

// Wait implements runner.Runner: go-plugin calls it once, when both outputs have come to their end.
func (c *child) Wait(context.Context) error {
	err := c.cmd.Wait()
	close(c.exited)
	return err
}

// Kill implements runner.Runner. go-plugin calls it two seconds after it asked, which may be early on a busy machine: who closes the
// process says how long to wait.
func (c *child) Kill(context.Context) error {
	timer := time.NewTimer(c.grace)
	defer timer.Stop()
	select {
	case <-c.exited:
	case <-timer.C:
		c.kill()
	}
	return nil
}

func (c *child) kill() {
	c.mu.Lock()
	defer c.mu.Unlock()
	select {
	case <-c.exited:
		return
	default:
	}
	c.killed = true
	if !c.started {
		return
	}
	_ = c.cmd.Process.Kill() // ended already = done
	for _, output := range []io.ReadCloser{c.stdout, c.stderr} {
		if bounded, is := output.(interface{ SetReadDeadline(time.Time) error }); is {
			_ = bounded.SetReadDeadline(time.Now().Add(time.Second)) // a process of its own may hold them open for ever
		}
	}
}

func (c *child) wasKilled() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.killed
}

// ID implements runner.Runner; it is never empty, or go-plugin would clean up nothing.
func (c *child) ID() string {
	if c.cmd.Process == nil {
		return "not started"
	}
	return strconv.Itoa(c.cmd.Process.Pid)
}

// Name implements runner.Runner.
func (c *child) Name() string { return c.cmd.Path }

// Stdout implements runner.Runner.
func (c *child) Stdout() io.ReadCloser {
	return struct {
		io.Reader
		io.Closer
	}{io.TeeReader(c.stdout, &c.printed), c.stdout}
}

// Stderr implements runner.Runner.
func (c *child) Stderr() io.ReadCloser { return c.stderr }

// Diagnose implements runner.Runner.
func (c *child) Diagnose(context.Context) string { return "" }

// PluginToHost implements runner.Runner: go-plugin calls it when it has read the handshake and believes it so far.
func (c *child) PluginToHost(network, address string) (string, string, error) {
	line, _, _ := strings.Cut(c.printed.String(), "\n")
	return network, address, plugin.CheckHandshake(strings.TrimSpace(line), c.plaintext, c.folder)
}

// HostToPlugin implements runner.Runner.
func (c *child) HostToPlugin(network, address string) (string, string, error) {
	return network, address, nil
}
