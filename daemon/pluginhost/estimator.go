package pluginhost

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/structpb"

	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// Estimator is a configured estimator process with its one session open.
type Estimator struct {
	*Process
	Method  string // how it finds the offset, one line
	service pluginv1.EstimatorServiceClient
	session grpc.BidiStreamingClient[pluginv1.RunRequest, pluginv1.RunResponse]
	end     context.CancelFunc
}

// StartEstimator starts and configures an estimator for a conductor, restores state if it is not empty, and opens its session.
// On an error nothing is left running.
func (h *Host) StartEstimator(ctx context.Context, p Program, conductor plugin.Conductor, settings map[string]any, state []byte) (*Estimator, error) {
	process, service, err := h.start(ctx, plugin.KindEstimator, p)
	if err != nil {
		return nil, err
	}
	e := &Estimator{Process: process, service: service.(pluginv1.EstimatorServiceClient)}
	if err := e.open(ctx, conductor, settings, state); err != nil {
		e.Close()
		return nil, fmt.Errorf("%s: %w", process.name, err)
	}
	return e, nil
}

func (e *Estimator) open(ctx context.Context, conductor plugin.Conductor, settings map[string]any, state []byte) error {
	fields, err := structOf(settings)
	if err != nil {
		return err
	}
	bounded, cancel := context.WithTimeoutCause(ctx, configureDeadline, errors.New("no answer to Configure within "+configureDeadline.String()))
	defer cancel()
	answer, err := e.service.Configure(bounded, &pluginv1.EstimatorServiceConfigureRequest{
		Conductor: conductor.Name, Channels: conductor.Channels, Settings: fields,
	})
	if err != nil {
		return wireError(bounded, err)
	}
	e.Method = answer.GetMethod()
	if len(state) > 0 {
		if _, err := e.service.Restore(bounded, &pluginv1.RestoreRequest{State: state}); err != nil {
			return fmt.Errorf("restoring its state: %w", wireError(bounded, err))
		}
	}
	// The session outlives the call that opens it: it ends with Close.
	session, end := context.WithCancel(context.WithoutCancel(ctx))
	if e.session, err = e.service.Run(session); err != nil {
		end()
		return wireError(session, err)
	}
	e.end = end
	return nil
}

// Observe hands over one summary and waits for the answer, which is checked: of that summary, each channel known, figures finite.
// After an error the session is over. One call at a time.
func (e *Estimator) Observe(ctx context.Context, summary *plugin.Summary) ([]*plugin.ChannelEstimate, error) {
	timeout := errors.New("no answer to a summary within " + answerDeadline.String())
	bounded, cancel := context.WithTimeoutCause(ctx, answerDeadline, timeout)
	defer cancel()
	stop := context.AfterFunc(bounded, e.end)
	defer stop()
	if err := e.session.Send(&pluginv1.RunRequest{Summary: summary}); err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("%s: %w", e.name, wireError(bounded, err))
	}
	answer, err := e.session.Recv()
	if errors.Is(err, io.EOF) {
		err = errors.New("ended its session")
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", e.name, wireError(bounded, err))
	}
	if err := checkAnswer(summary, answer); err != nil {
		return nil, fmt.Errorf("%s: %w", e.name, err)
	}
	return answer.GetChannels(), nil
}

func checkAnswer(summary *plugin.Summary, answer *pluginv1.RunResponse) error {
	if answer.GetDevice() != summary.GetDevice() || answer.GetThroughSequence() != summary.GetLastSequence() {
		return fmt.Errorf("answered for %s through %d, asked for %s through %d",
			answer.GetDevice(), answer.GetThroughSequence(), summary.GetDevice(), summary.GetLastSequence())
	}
	for _, c := range answer.GetChannels() {
		if !usable(c.GetOffsetAmperes()) || !usable(c.GetStandardUncertaintyAmperes()) || !usable(c.GetWalkAmperesPerRootSecond()) ||
			c.GetStandardUncertaintyAmperes() < 0 || c.GetWalkAmperesPerRootSecond() < 0 {
			return fmt.Errorf("channel %q: estimate %g A ± %g A, walk %g A/√s makes no sense", c.GetName(),
				c.GetOffsetAmperes(), c.GetStandardUncertaintyAmperes(), c.GetWalkAmperesPerRootSecond())
		}
	}
	return nil
}

func usable(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Snapshot asks for the state after the newest summary answered.
func (e *Estimator) Snapshot(ctx context.Context) ([]byte, error) {
	bounded, cancel := context.WithTimeoutCause(ctx, answerDeadline, errors.New("no answer to Snapshot within "+answerDeadline.String()))
	defer cancel()
	answer, err := e.service.Snapshot(bounded, &pluginv1.SnapshotRequest{})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", e.name, wireError(bounded, err))
	}
	return answer.GetState(), nil
}

// Close ends the session and the process. Closing again does nothing.
func (e *Estimator) Close() {
	if e.end != nil {
		e.end()
	}
	e.Process.Close()
}

func structOf(settings map[string]any) (*structpb.Struct, error) {
	fields, err := structpb.NewStruct(settings)
	if err != nil {
		return nil, fmt.Errorf("settings: %w", err)
	}
	return fields, nil
}
