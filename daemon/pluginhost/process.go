package pluginhost

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"sync"
	"time"

	goplugin "github.com/hashicorp/go-plugin"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// Process is a running plugin.
type Process struct {
	name      string // kind and name, for errors
	client    *goplugin.Client
	command   *command
	journal   *journal
	deadlines Deadlines
	closing   sync.Once

	mu          sync.Mutex
	connections []*grpc.ClientConn
	cut         bool // none is to be open
}

// PID is the process identifier.
func (p *Process) PID() int { return p.command.cmd.Process.Pid }

// Exited tells whether the process has ended.
func (p *Process) Exited() bool {
	select {
	case <-p.command.exited:
		return true
	default:
		return false
	}
}

// Close ends the process: it is asked, then after two seconds killed, and waited for. Closing again does nothing, but also waits.
func (p *Process) Close() {
	p.closing.Do(func() {
		// Asking has no deadline in go-plugin.
		force := time.AfterFunc(p.deadlines.Close, p.kill)
		defer force.Stop()
		p.client.Kill()
		p.disconnect()
		p.journal.flush()
	})
}

// kill ends the process and whatever go-plugin is waiting for, which it may do without looking at the process.
func (p *Process) kill() {
	p.command.kill()
	p.disconnect()
}

func (p *Process) disconnect() {
	p.mu.Lock()
	connections := p.connections
	p.connections, p.cut = nil, true
	p.mu.Unlock()
	for _, c := range connections {
		c.Close()
	}
}

// dispense brings the process up until it can be called. On an error it is closed.
func (p *Process) dispense(ctx context.Context, kind string) (any, error) {
	limit := p.deadlines.Start
	ctx, cancel := context.WithTimeoutCause(ctx, limit, fmt.Errorf("was not ready within %v", limit))
	defer cancel()
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	// Not client.Kill: it would wait for the start that it is to end.
	stop := context.AfterFunc(ctx, p.kill)
	protocol, err := p.client.Client()
	if !stop() {
		p.Close()
		return nil, context.Cause(ctx)
	}
	var service any
	if err == nil {
		service, err = protocol.Dispense(kind)
	}
	if err != nil {
		p.Close()
		return nil, p.explain(err)
	}
	return service, nil
}

// explain says why a closed process did not start as a plugin.
func (p *Process) explain(err error) error {
	printed := p.command.printed()
	switch verdict := p.command.condemned(); {
	case verdict != nil:
		return verdict
	case errors.Is(p.command.fault, fs.ErrNotExist): // the file itself was found before
		return fmt.Errorf("cannot be started: %w: the interpreter that its first line names, or its loader, is missing", p.command.fault)
	case p.command.fault != nil:
		return fmt.Errorf("cannot be started: %w", p.command.fault)
	case printed != "" && strings.Count(printed, "|") < 3:
		return fmt.Errorf("is no plugin: it printed %q where the handshake is due", printed[:min(len(printed), 100)])
	case printed == "" && p.command.endedItself():
		return fmt.Errorf("is no plugin: it ended before the handshake (%v)%s", p.command.cmd.ProcessState, p.journal.lastWords())
	}
	line, _, _ := strings.Cut(err.Error(), "\n")
	return fmt.Errorf("handshake: %s", line)
}

// notice keeps the connections that go-plugin makes: it forgets one over which its first call fails, and with it that one's goroutines.
func (p *Process) notice(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string, open grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	p.mu.Lock()
	if !slices.Contains(p.connections, cc) {
		p.connections = append(p.connections, cc)
	}
	cut := p.cut
	p.mu.Unlock()
	if cut {
		p.disconnect()
	}
	return open(ctx, desc, cc, method, opts...)
}

// within makes one call with a deadline.
func (p *Process) within(ctx context.Context, limit time.Duration, what string, call func(context.Context) error) error {
	bounded, cancel := context.WithTimeoutCause(ctx, limit, fmt.Errorf("no answer to %s within %v", what, limit))
	defer cancel()
	if err := call(bounded); err != nil {
		return p.fault(bounded, err)
	}
	return nil
}

// lastMoment is how long a process may take to be seen as ended after its connection broke, or a deadline after the plugin saw it pass.
const lastMoment = time.Second

// fault puts the error of a call into words: why ctx ended, how the process ended, or what the plugin said.
func (p *Process) fault(ctx context.Context, err error) error {
	said := status.Convert(err)
	if deadline, bounded := ctx.Deadline(); bounded && said.Code() == codes.DeadlineExceeded && time.Until(deadline) < lastMoment {
		<-ctx.Done() // the plugin's copy of the deadline was a little early
	}
	if cause := context.Cause(ctx); cause != nil {
		return cause
	}
	switch said.Code() {
	case codes.Unavailable:
		ended := p.endsWithin(ctx, lastMoment)
		if verdict := p.command.condemned(); verdict != nil {
			return verdict
		}
		if ended && p.command.endedItself() {
			return fmt.Errorf("process ended (%v)%s", p.command.cmd.ProcessState, p.journal.lastWords())
		}
	case codes.Unimplemented:
		return fmt.Errorf("is a plugin of another kind: %s", said.Message())
	}
	return errors.New(said.Message())
}

func (p *Process) endsWithin(ctx context.Context, limit time.Duration) bool {
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	select {
	case <-p.command.exited:
		return true
	case <-ctx.Done():
		return false
	}
}
