package pluginhost

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/structpb"

	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// Estimator is a configured estimator process with its one session open.
type Estimator struct {
	*Process
	Method  string               // how it finds the offset, one line
	Bases   map[string][]float64 // by channel: half-widths in amperes of the play operators it wants driven
	Outputs []*plugin.Output     // what it derives beside the offsets

	WantsReadings bool // each summary is to carry the readings it sums up

	service pluginv1.EstimatorServiceClient
	session grpc.BidiStreamingClient[pluginv1.RunRequest, pluginv1.RunResponse]
	ctx     context.Context // the session's
	end     context.CancelCauseFunc
}

var errClosed = errors.New("was closed")

// Kept is an estimator's state from before.
type Kept struct {
	State []byte        // what Snapshot gave; empty = none
	Away  time.Duration // since then, in which it observed nothing
}

// ErrState says that an estimator did not take its state.
var ErrState = errors.New("restoring its state")

// Stage is how far an estimator has come when it is started.
type Stage uint8

// The stages, in order.
const (
	Configured Stage = iota + 1 // it has taken its settings
	Restoring                   // it is being given what was kept
)

// StartEstimator starts and configures an estimator for a conductor, restores what was kept, if anything was, and opens its session; told is
// called at each stage. On an error nothing is left running; ErrState: it may be tried again without what was kept.
func (h *Host) StartEstimator(ctx context.Context, p Program, conductor plugin.Conductor, settings map[string]any, kept Kept, told ...func(Stage)) (*Estimator, error) {
	process, service, err := h.start(ctx, plugin.KindEstimator, p)
	if err != nil {
		return nil, err
	}
	e := &Estimator{Process: process, service: service.(pluginv1.EstimatorServiceClient)}
	// The session outlives the call that opens it: it ends with Close.
	e.ctx, e.end = context.WithCancelCause(context.WithoutCancel(ctx))
	tell := func(stage Stage) {
		for _, each := range told {
			each(stage)
		}
	}
	if err := e.open(ctx, conductor, settings, kept, tell); err != nil {
		e.Close()
		return nil, fmt.Errorf("%s: %w", process.name, err)
	}
	return e, nil
}

func (e *Estimator) open(ctx context.Context, conductor plugin.Conductor, settings map[string]any, kept Kept, tell func(Stage)) error {
	fields, err := structOf(settings)
	if err != nil {
		return err
	}
	limit := e.deadlines.Configure
	err = e.within(ctx, limit, "Configure", func(ctx context.Context) error {
		answer, err := e.service.Configure(ctx, &pluginv1.EstimatorServiceConfigureRequest{
			Conductor: conductor.Name, Channels: conductor.Channels, Settings: fields,
			ChargeIsPositive: conductor.ChargeIsPositive, CapacityCoulombs: conductor.CapacityCoulombs,
		})
		if err != nil {
			return err
		}
		return e.take(answer)
	})
	if err != nil {
		return err
	}
	tell(Configured)
	if len(kept.State) > 0 {
		tell(Restoring)
		err := e.within(ctx, limit, "Restore", func(ctx context.Context) error {
			_, err := e.service.Restore(ctx, &pluginv1.RestoreRequest{State: kept.State, AwayNanos: int64(kept.Away)})
			return err
		})
		if err != nil {
			return fmt.Errorf("%w: %w", ErrState, err)
		}
	}
	if e.session, err = e.service.Run(e.ctx); err != nil {
		return e.fault(e.ctx, err)
	}
	return nil
}

// take notes what the estimator says of itself.
func (e *Estimator) take(answer *pluginv1.EstimatorServiceConfigureResponse) (err error) {
	e.Method, e.WantsReadings = answer.GetMethod(), answer.GetWantsReadings()
	if e.Bases, err = basesOf(answer.GetBases()); err != nil {
		return err
	}
	e.Outputs = answer.GetOutputs()
	return checkOutputs(e.Outputs)
}

// Observe hands over one summary and waits for the answer, which is checked: of that summary, each channel known, figures finite.
// An error ends the session and is what later calls return. One call at a time.
func (e *Estimator) Observe(ctx context.Context, summary *plugin.Summary) (*plugin.Answer, error) {
	limit := e.deadlines.Answer
	bounded, cancel := context.WithTimeoutCause(ctx, limit, fmt.Errorf("no answer to a summary within %v", limit))
	defer cancel()
	stop := context.AfterFunc(bounded, func() { e.end(context.Cause(bounded)) })
	answer, err := e.exchange(summary)
	if !stop() {
		err = context.Cause(bounded) // an answer that comes just then is too late as well: the session has ended
	}
	if err == nil {
		err = e.check(summary, answer)
	}
	if err != nil {
		e.end(err)
		return nil, fmt.Errorf("%s: %w", e.name, err)
	}
	return answer, nil
}

// mostOperators bounds the work an estimator can ask for on one channel.
const mostOperators = 32

func basesOf(wire []*pluginv1.ChannelBasis) (map[string][]float64, error) {
	bases := map[string][]float64{}
	for _, basis := range wire {
		widths := basis.GetPlayHalfWidthAmperes()
		if len(widths) > mostOperators {
			return nil, fmt.Errorf("channel %q: wants %d play operators, %d are allowed", basis.GetName(), len(widths), mostOperators)
		}
		for _, width := range widths {
			if !usable(width) || width <= 0 {
				return nil, fmt.Errorf("channel %q: wants a play operator of half-width %g A", basis.GetName(), width)
			}
		}
		bases[basis.GetName()] = widths
	}
	return bases, nil
}

func (e *Estimator) exchange(summary *plugin.Summary) (*pluginv1.RunResponse, error) {
	// io.EOF says that the session is over; why is told by receiving.
	if err := e.session.Send(&pluginv1.RunRequest{Summary: summary}); err != nil && !errors.Is(err, io.EOF) {
		return nil, e.fault(e.ctx, err)
	}
	answer, err := e.session.Recv()
	switch {
	case errors.Is(err, io.EOF):
		return nil, errors.New("ended its session")
	case err != nil:
		return nil, e.fault(e.ctx, err)
	}
	return answer, nil
}

// check looks at all of an answer.
func (e *Estimator) check(summary *plugin.Summary, answer *pluginv1.RunResponse) error {
	return errors.Join(checkAnswer(summary, answer), checkValues(e.Outputs, answer.GetOutputs()))
}

func checkAnswer(summary *plugin.Summary, answer *pluginv1.RunResponse) error {
	if answer.GetDevice() != summary.GetDevice() || answer.GetThroughSequence() != summary.GetLastSequence() {
		return fmt.Errorf("answered for %s through %d, asked for %s through %d",
			answer.GetDevice(), answer.GetThroughSequence(), summary.GetDevice(), summary.GetLastSequence())
	}
	var names []string
	for _, c := range answer.GetChannels() {
		asked := func(of *plugin.ChannelSummary) bool { return of.GetName() == c.GetName() }
		switch {
		case !slices.ContainsFunc(summary.GetChannels(), asked):
			return fmt.Errorf("channel %q: was not asked for", c.GetName())
		case slices.Contains(names, c.GetName()):
			return fmt.Errorf("channel %q: answered twice", c.GetName())
		case !sensible(c):
			return fmt.Errorf("channel %q: estimate %g A ± %g A, walk %g A/√s makes no sense", c.GetName(),
				c.GetOffsetAmperes(), c.GetStandardUncertaintyAmperes(), c.GetWalkAmperesPerRootSecond())
		}
		names = append(names, c.GetName())
	}
	return checkFused(answer)
}

// checkFused looks at what goes with the fused current.
func checkFused(answer *pluginv1.RunResponse) error {
	if f := answer.GetFused(); !usable(f.GetCorrectionCoulombs()) || !usable(f.GetCorrectionUncertaintyCoulombs()) || f.GetCorrectionUncertaintyCoulombs() < 0 {
		return fmt.Errorf("fused current: correction %g C ± %g C makes no sense", f.GetCorrectionCoulombs(), f.GetCorrectionUncertaintyCoulombs())
	}
	for _, c := range answer.GetCovariances() {
		if v := c.GetSquareAmperes(); !usable(v) || v < 0 && c.GetFirst() == c.GetSecond() {
			return fmt.Errorf("channels %q and %q: covariance %g A² makes no sense", c.GetFirst(), c.GetSecond(), v)
		}
	}
	return nil
}

func sensible(c *plugin.ChannelEstimate) bool {
	for _, u := range [...]float64{c.GetStandardUncertaintyAmperes(), c.GetWalkAmperesPerRootSecond(), c.GetCorrectionUncertaintyCoulombs()} {
		if !usable(u) || u < 0 {
			return false
		}
	}
	return usable(c.GetOffsetAmperes()) && usable(c.GetCorrectionCoulombs())
}

// mostPlausible bounds what an estimator may say, in amperes and coulombs: no pack has a millionth of it, and the ledger could not hold much more.
const mostPlausible = 1e12

func usable(v float64) bool { return math.Abs(v) <= mostPlausible }

// Snapshot asks for the state after the newest summary answered. Safe for concurrent use, also with Observe.
func (e *Estimator) Snapshot(ctx context.Context) (state []byte, err error) {
	err = e.within(ctx, e.deadlines.Answer, "Snapshot", func(ctx context.Context) error {
		answer, err := e.service.Snapshot(ctx, &pluginv1.SnapshotRequest{})
		state = answer.GetState()
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", e.name, err)
	}
	return state, nil
}

// Close ends the session and the process. Closing again does nothing, but also waits.
func (e *Estimator) Close() {
	e.end(errClosed)
	e.Process.Close()
}

func structOf(settings map[string]any) (*structpb.Struct, error) {
	fields, err := structpb.NewStruct(settings)
	if err != nil {
		// Protobuf varies the white space of its errors on purpose; ours are compared.
		return nil, errors.New("settings: " + strings.ReplaceAll(err.Error(), "\u00a0", " "))
	}
	return fields, nil
}
