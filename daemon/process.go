package daemon

import (
	"context"
	"errors"
	"fmt"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/service"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Outputs takes what Process gives. Nil functions take nothing.
type Outputs struct {
	Readings func(lane *pipeline.Lane, r *scan.Readings) error
	Event    func(event *ampledgerv1.Event) error
	Estimate func(record *ampledgerv1.EstimateRecord) error // one for each summary and estimator
}

// Process takes a configuration's finite devices through the pipeline, offline and in lockstep, and gives the statement of each conductor.
// Nothing is stored and sequences begin at 0, so the same input gives the same output to the last bit. If a device fails midway, or an
// output, the statements hold what was counted until then and the error says what happened.
func Process(ctx context.Context, c *config.Config, o *Options, out Outputs) ([]*ampledgerv1.GetStatementResponse, error) {
	if err := o.CheckShipped(c); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	to := &offlineSink{out: out, failed: cancel}
	conductors, devices, err := build(c, o, to, noSequences{}, 0, true, nil)
	if err != nil {
		return nil, err
	}
	err = pipeline.Offline(ctx, devices, conductors, func() error { return begin(ctx, c, conductors) })
	if cause := context.Cause(ctx); cause != nil {
		err = cause
	}
	var statements []*ampledgerv1.GetStatementResponse
	for _, conductor := range conductors {
		statements = append(statements, service.Statement(conductor, nil))
	}
	return statements, err
}

// begin starts the estimators; offline a missing one is an error, since it would change every figure.
func begin(ctx context.Context, c *config.Config, conductors []*pipeline.Conductor) (err error) {
	for i, conductor := range conductors {
		if e := c.Conductors[i].Estimator; e != nil {
			if starting := conductor.Begin(ctx, candidate(e)); starting != nil {
				err = errors.Join(err, fmt.Errorf("conductor %s: %w", conductor.Name(), starting))
			}
		}
		for _, s := range c.Conductors[i].Shadows {
			if starting := conductor.BeginShadow(ctx, s.Name, shadowOf(s)); starting != nil {
				err = errors.Join(err, fmt.Errorf("conductor %s, shadow %s: %w", conductor.Name(), s.Name, starting))
			}
		}
	}
	return err
}

// offlineSink hands on what there is an output for. The first output that fails ends the run.
type offlineSink struct {
	out    Outputs
	failed context.CancelCauseFunc
}

// Readings implements pipeline.Sink.
func (s *offlineSink) Readings(lane *pipeline.Lane, r *scan.Readings) {
	if s.out.Readings != nil {
		s.check(s.out.Readings(lane, r))
	}
}

// Event implements pipeline.Sink.
func (s *offlineSink) Event(event *ampledgerv1.Event) {
	if s.out.Event != nil {
		s.check(s.out.Event(event))
	}
}

// Post implements pipeline.Sink: there is no ledger to post to.
func (s *offlineSink) Post(*pipeline.Posting) bool { return true }

// Keep implements pipeline.Sink: a run in lockstep keeps nothing.
func (s *offlineSink) Keep(string, *pipeline.Kept) {}

// Estimated implements pipeline.Sink.
func (s *offlineSink) Estimated(record *ampledgerv1.EstimateRecord, _ bool) {
	if s.out.Estimate != nil {
		s.check(s.out.Estimate(record))
	}
}

// Ended implements pipeline.Sink.
func (s *offlineSink) Ended(string) {}

func (s *offlineSink) check(err error) {
	if err != nil {
		s.failed(err)
	}
}

// noSequences lets each device begin at 0.
type noSequences struct{}

// Begin implements pipeline.Sequences.
func (noSequences) Begin(string) (uint64, error) { return 0, nil }

// Hold implements pipeline.Sequences.
func (noSequences) Hold(string, uint64) {}
