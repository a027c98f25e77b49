package plugintest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	goplugin "github.com/hashicorp/go-plugin"
	"google.golang.org/grpc"
)

// Process is a running plugin.
type Process struct {
	client   *goplugin.Client
	child    *child
	errors   *tail
	service  any
	wire     *grpc.ClientConn
	patience time.Duration
	closing  sync.Once
	closed   error
}

// Service is the client of the plugin's service: a pluginv1.DriverServiceClient or a pluginv1.EstimatorServiceClient.
func (p *Process) Service() any { return p.service }

// Connection is the connection to the plugin, for calls of other services.
func (p *Process) Connection() grpc.ClientConnInterface { return p.wire }

var errUnwilling = errors.New("it did not end when it was asked to (call Shutdown of service plugin.GRPCController), and was killed")

// Close asks the plugin to end, waits for it, and kills it if that takes too long, which is an error. Closing again gives the same.
func (p *Process) Close() error {
	p.closing.Do(func() {
		if p.wire != nil {
			p.child.grace = p.patience
		}
		force := time.AfterFunc(p.patience, p.child.kill) // go-plugin asks without a deadline
		defer force.Stop()
		p.client.Kill()
		if p.wire != nil && p.child.wasKilled() {
			p.closed = errUnwilling
		}
	})
	return p.closed
}

// Abandon leaves the plugin as a daemon does that is killed: the pipe that is its standard input ends and nothing else is said. It waits
// for the plugin to end by itself; one that does not is an error, and is killed.
func (p *Process) Abandon(ctx context.Context) error {
	if err := p.child.stdin.Close(); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, p.patience)
	defer cancel()
	select {
	case <-p.child.exited:
		return nil
	case <-ctx.Done():
		p.child.kill()
		return fmt.Errorf("it runs on when its standard input has ended: %w", ctx.Err())
	}
}

func (p *Process) dispense(kind string) error {
	protocol, err := p.client.Client()
	if err != nil {
		return err
	}
	if p.service, err = protocol.Dispense(kind); err == nil {
		p.wire = protocol.(*goplugin.GRPCClient).Conn // the only protocol allowed
	}
	return err
}
