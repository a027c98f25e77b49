package plugintest

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	goplugin "github.com/hashicorp/go-plugin"
	"google.golang.org/grpc/health/grpc_health_v1"
)

// Run checks what the daemon asks of any plugin's process, whatever it serves: kind is plugin.KindDriver or plugin.KindEstimator.
func (x Executable) Run(t *testing.T, kind string) {
	t.Helper()
	for _, c := range conduct {
		t.Run(c.name, func(t *testing.T) {
			if err := c.check(t.Context(), x, kind); err != nil {
				t.Error(err)
			}
		})
	}
}

var conduct = []struct {
	name  string
	check func(context.Context, Executable, string) error
}{
	{"is not started by hand", refusesToBeStartedByHand},
	{"tells its health", tellsItsHealth},
	{"ends when asked", endsWhenAsked},
	{"ends with the daemon", endsWithTheDaemon},
}

// Without the cookie in its environment it must end with an error and print nothing that looks like a handshake.
func refusesToBeStartedByHand(ctx context.Context, x Executable, _ string) error {
	ctx, cancel := context.WithTimeout(ctx, cmp.Or(x.patience, Patience))
	defer cancel()
	cmd := x.command()
	var out, errs tail
	cmd.Stdout, cmd.Stderr = &out, &errs
	input, err := cmd.StdinPipe() // open, so that it does not end for that
	if err != nil {
		return err
	}
	defer input.Close()
	if err := cmd.Start(); err != nil {
		return err
	}
	stop := context.AfterFunc(ctx, func() { _ = cmd.Process.Kill() })
	err = cmd.Wait()
	switch {
	case !stop():
		return fmt.Errorf("it runs without the cookie in its environment: %w", ctx.Err())
	case err == nil:
		return errors.New("without the cookie in its environment it ends with status 0, want an error")
	case strings.Contains(out.String(), "|"):
		return fmt.Errorf("without the cookie in its environment it prints %q, want no handshake", out.String())
	}
	return nil
}

// with runs a process for a check, which then must end when asked.
func with(ctx context.Context, x Executable, kind string, check func(context.Context, *Process) error) error {
	p, err := x.Start(ctx, kind)
	if err != nil {
		return err
	}
	return errors.Join(check(ctx, p), p.Close())
}

func tellsItsHealth(ctx context.Context, x Executable, kind string) error {
	return with(ctx, x, kind, func(ctx context.Context, p *Process) error {
		ctx, cancel := context.WithTimeout(ctx, Patience)
		defer cancel()
		answer, err := grpc_health_v1.NewHealthClient(p.Connection()).Check(ctx, &grpc_health_v1.HealthCheckRequest{Service: goplugin.GRPCServiceName})
		if err == nil && answer.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING {
			err = fmt.Errorf("its status is %v, want SERVING", answer.GetStatus())
		}
		if err != nil {
			return fmt.Errorf("health of service %q: %w", goplugin.GRPCServiceName, err)
		}
		return nil
	})
}

func endsWhenAsked(ctx context.Context, x Executable, kind string) error {
	return with(ctx, x, kind, func(context.Context, *Process) error { return nil })
}

func endsWithTheDaemon(ctx context.Context, x Executable, kind string) error {
	p, err := x.Start(ctx, kind)
	if err != nil {
		return err
	}
	err = p.Abandon(ctx)
	_ = p.Close() // it has ended, or was killed
	return err
}
