package pluginhost

import (
	"context"
	"errors"
	"io"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// command runs a plugin's executable for go-plugin (it is a runner.Runner) as a process group with a pipe as its standard input: the
// kernel closes that when the daemon ends, however it ends. Unlike go-plugin's own, it can be killed at any time, also while go-plugin
// waits for the start.
type command struct {
	cmd       *exec.Cmd
	plaintext bool      // it talks without TLS
	folder    string    // where its socket belongs
	mark      string    // a variable that it and all it starts have in their environment
	guardian  *Guardian // nil = there is none
	memory    uint64    // bytes it may hold
	census    *census
	behind    bool // gives way to other processes

	stdout opening
	stderr io.ReadCloser
	exited chan struct{} // closed when the process was waited for
	fault  error         // why it could not be started

	watching sync.WaitGroup // for the watch of its memory

	mu              sync.Mutex
	started, killed bool
	verdict         error // why it was killed, if there is a reason in itself
}

var errKilled = errors.New("was killed before its start")

// Start implements runner.Runner.
func (c *command) Start(context.Context) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.killed {
		return errKilled
	}
	c.fault = c.run()
	c.started = c.fault == nil
	return c.fault
}

func (c *command) run() (err error) {
	if _, err = c.cmd.StdinPipe(); err != nil { // closed by Wait
		return err
	}
	if c.stdout.ReadCloser, err = c.cmd.StdoutPipe(); err != nil {
		return err
	}
	if c.stderr, err = c.cmd.StderrPipe(); err != nil {
		return err
	}
	makeGroup(c.cmd)
	c.cmd.Env = append(c.cmd.Env, c.mark)
	if c.guardian != nil {
		c.cmd.Env = append(c.cmd.Env, guardianMark+c.guardian.mark)
	}
	if err := c.cmd.Start(); err != nil {
		return err
	}
	if c.behind {
		_ = stepBack(c.cmd.Process) // it has ended already = nothing is in its way
	}
	if c.guardian != nil {
		c.guardian.add(c.cmd.Process.Pid)
	}
	c.watching.Go(func() { c.watchMemory(c.memory) })
	return nil
}

// Wait implements runner.Runner: go-plugin calls it once, when both outputs have come to their end. What is left of the group ends too;
// its number cannot be another's as long as somebody is in it.
func (c *command) Wait(context.Context) error {
	err := c.cmd.Wait()
	c.killAll()
	c.census.forget(c.cmd.Process.Pid)
	if c.guardian != nil {
		c.guardian.remove(c.cmd.Process.Pid)
	}
	close(c.exited)
	c.watching.Wait()
	return err
}

// killAll ends the process and what it started.
func (c *command) killAll() {
	killGroup(c.cmd.Process)
	killMarked(c.mark)
}

// Kill implements runner.Runner.
func (c *command) Kill(context.Context) error {
	c.kill()
	return nil
}

// lingering is how long output is still read after a kill: a process that is not found may hold it open for ever.
const lingering = time.Second

func (c *command) kill() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.killed = true
	if !c.started {
		return
	}
	select {
	case <-c.exited:
		return
	default:
	}
	c.killAll()
	for _, output := range []any{c.stdout.ReadCloser, c.stderr} {
		if bounded, ok := output.(interface{ SetReadDeadline(time.Time) error }); ok {
			_ = bounded.SetReadDeadline(time.Now().Add(lingering)) // closed already = nobody reads
		}
	}
}

// endedItself tells that an ended process was not ended by kill.
func (c *command) endedItself() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	state := c.cmd.ProcessState
	return state != nil && (!c.killed || state.Exited())
}

// printed is the first line on standard output, or its beginning.
func (c *command) printed() string { return strings.TrimSpace(c.stdout.line()) }

// ID implements runner.Runner. It is not empty before the start either: go-plugin would clean up nothing.
func (c *command) ID() string {
	if c.cmd.Process == nil {
		return "not started"
	}
	return strconv.Itoa(c.cmd.Process.Pid)
}

// Name implements runner.Runner.
func (c *command) Name() string { return c.cmd.Path }

// Stdout implements runner.Runner.
func (c *command) Stdout() io.ReadCloser { return &c.stdout }

// Stderr implements runner.Runner.
func (c *command) Stderr() io.ReadCloser { return c.stderr }

// Diagnose implements runner.Runner.
func (c *command) Diagnose(context.Context) string { return "" }

// PluginToHost implements runner.Runner: go-plugin calls it when it has read the handshake and believes it so far.
func (c *command) PluginToHost(network, address string) (string, string, error) {
	return network, address, plugin.CheckHandshake(c.printed(), c.plaintext, c.folder)
}

// HostToPlugin implements runner.Runner.
func (c *command) HostToPlugin(network, address string) (string, string, error) {
	return network, address, nil
}

// opening is a reader that keeps the first bytes it read, enough for a handshake with its certificate.
type opening struct {
	io.ReadCloser

	mu   sync.Mutex
	text []byte
}

const openingBytes = 8 << 10

func (o *opening) Read(to []byte) (int, error) {
	n, err := o.ReadCloser.Read(to)
	o.mu.Lock()
	defer o.mu.Unlock()
	o.text = append(o.text, to[:min(n, openingBytes-len(o.text))]...)
	return n, err
}

// line is the first line, as far as it was kept.
func (o *opening) line() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	line, _, _ := strings.Cut(string(o.text), "\n")
	return line
}
