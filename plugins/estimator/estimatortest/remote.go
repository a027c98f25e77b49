package estimatortest

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/plugins/plugin"
	"github.com/ampledger/ampledger/plugins/plugintest"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// remote is an estimator in a process of its own, which starts when it is configured.
type remote struct {
	executable plugintest.Executable
	ctx        context.Context // of the check that configured it
	process    *plugintest.Process
	service    pluginv1.EstimatorServiceClient
	session    grpc.BidiStreamingClient[pluginv1.RunRequest, pluginv1.RunResponse]
	outputs    []*plugin.Output
}

// Outputs implements plugin.Deriving.
func (r *remote) Outputs() []*plugin.Output { return r.outputs }

// Derived implements plugin.Deriving; what is derived comes with each answer.
func (r *remote) Derived() []*plugin.OutputValue { return nil }

// Configure implements plugin.Estimator.
func (r *remote) Configure(ctx context.Context, conductor plugin.Conductor, settings plugin.Settings) (method string, err error) {
	if r.process, err = r.executable.Start(ctx, plugin.KindEstimator); err != nil {
		return "", err
	}
	r.ctx, r.service = ctx, r.process.Service().(pluginv1.EstimatorServiceClient)
	ctx, cancel := r.bounded("Configure")
	defer cancel(nil)
	answer, err := r.service.Configure(ctx, &pluginv1.EstimatorServiceConfigureRequest{
		Conductor: conductor.Name, Channels: conductor.Channels, Settings: settings.Struct(),
		ChargeIsPositive: conductor.ChargeIsPositive, CapacityCoulombs: conductor.CapacityCoulombs,
	})
	if code := status.Code(err); err != nil && code != codes.InvalidArgument {
		return "", fmt.Errorf("status %v, want InvalidArgument if it is the settings", code) // what it said does not count
	}
	r.outputs = answer.GetOutputs()
	return answer.GetMethod(), err
}

// bounded is a context that ends when a plugin has let the suite wait too long, with the reason.
func (r *remote) bounded(what string) (context.Context, context.CancelCauseFunc) {
	ctx, cancel := context.WithCancelCause(r.ctx)
	timer := time.AfterFunc(plugintest.Patience, func() { cancel(fmt.Errorf("no answer to %s within %v", what, plugintest.Patience)) })
	return ctx, func(cause error) { timer.Stop(); cancel(cause) }
}

func (r *remote) ask(summary *plugin.Summary) (answer *plugin.Answer, err error) {
	if r.session == nil {
		if r.session, err = r.service.Run(r.ctx); err != nil {
			return nil, err
		}
	}
	late := time.AfterFunc(plugintest.Patience, func() { _ = r.process.Close() }) // which ends the session
	_ = r.session.Send(&pluginv1.RunRequest{Summary: summary})                    // what it fails for, receiving says
	answer, err = r.session.Recv()
	if !late.Stop() {
		err = fmt.Errorf("no answer to a summary within %v", plugintest.Patience)
	}
	return answer, err
}

// Observe implements plugin.Estimator.
func (r *remote) Observe(summary *plugin.Summary) ([]*plugin.ChannelEstimate, error) {
	answer, err := r.ask(summary)
	return answer.GetChannels(), err
}

// Snapshot implements plugin.Estimator.
func (r *remote) Snapshot() ([]byte, error) {
	ctx, cancel := r.bounded("Snapshot")
	defer cancel(nil)
	answer, err := r.service.Snapshot(ctx, &pluginv1.SnapshotRequest{})
	return answer.GetState(), errors.Join(err, context.Cause(ctx))
}

// Restore implements plugin.Estimator.
func (r *remote) Restore(state []byte) error { return r.restore(state, 0) }

func (r *remote) restore(state []byte, ago time.Duration) error {
	ctx, cancel := r.bounded("Restore")
	defer cancel(nil)
	_, err := r.service.Restore(ctx, &pluginv1.RestoreRequest{State: state, AwayNanos: int64(ago)})
	return errors.Join(err, context.Cause(ctx))
}

// end ends the session and the process.
func (r *remote) end() error {
	if r.process == nil {
		return nil
	}
	if r.session != nil {
		_ = r.session.CloseSend() // over already = done
	}
	return r.process.Close()
}

// commands makes a suite whose estimators are processes.
func commands(x plugintest.Executable, settings map[string]any) suite {
	var running []*remote
	return suite{
		settings: settings,
		open: func() plugin.Estimator {
			running = append(running, &remote{executable: x})
			return running[len(running)-1]
		},
		close: func() (err error) {
			for _, r := range running {
				err = errors.Join(err, r.end())
			}
			running = nil
			return err
		},
	}
}
