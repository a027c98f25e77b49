package pipeline

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"testing"

	"go.uber.org/goleak"
	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/comparison"
	"github.com/ampledger/ampledger/daemon/guard"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
	"github.com/ampledger/ampledger/plugins/plugin"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// journal is a sink that writes everything down.
type journal struct {
	mu       sync.Mutex
	amperes  []float64
	sequence []uint64
	frames   []scan.Estimate
	events   []*ampledgerv1.Event
	postings []Posting
	full     bool // refuse postings
	ended    int
	kept     []*Kept
	records  []*comparison.Record
	recorded []*comparison.Record

	heldAtKeep []int64 // what the ledger held then, ns
}

func (j *journal) Readings(_ *Lane, r *scan.Readings) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.frames = append(j.frames, r.Estimate)
	for k, y := range r.Amperes {
		j.amperes = append(j.amperes, y)
		j.sequence = append(j.sequence, r.Sequence+uint64(k))
	}
}

func (j *journal) Event(e *ampledgerv1.Event) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.events = append(j.events, e)
}

func (j *journal) Post(p *Posting) bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.full {
		return false
	}
	j.postings = append(j.postings, *p)
	return true
}

func (j *journal) Keep(_ string, kept *Kept) {
	j.mu.Lock()
	defer j.mu.Unlock()
	ledger, _ := j.ledgerOf()
	j.kept, j.heldAtKeep = append(j.kept, kept), append(j.heldAtKeep, ledger.HeldNanos)
}

func (j *journal) Estimated(r *comparison.Record, recorded bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.records = append(j.records, r)
	if recorded {
		j.recorded = append(j.recorded, r)
	}
}

func (j *journal) Ended(string) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.ended++
}

// told gives each event so far as a line.
func (j *journal) told() (lines []string) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, e := range j.events {
		lines = append(lines, fmt.Sprintf("%s %s %s", e.GetKind(), e.GetElement(), e.GetState().String()[len("EVENT_STATE_"):]))
	}
	return lines
}

// observer is an estimator in this process: do answers.
type observer struct {
	mu        sync.Mutex
	summaries []*plugin.Summary
	do        func(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error)
	state     func() ([]byte, error)
	kept      pluginhost.Kept // it was started with
	closed    bool
}

func (o *observer) Observe(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error) {
	o.mu.Lock()
	o.summaries = append(o.summaries, s)
	o.mu.Unlock()
	return o.do(ctx, s)
}

func (o *observer) Snapshot(context.Context) ([]byte, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.state == nil {
		return []byte("state"), nil
	}
	return o.state()
}

func (o *observer) PID() int { return 0 }

func (o *observer) Close() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.closed = true
}

// fixed answers with one offset.
func fixed(amperes float64) *observer {
	return &observer{do: func(context.Context, *plugin.Summary) (*plugin.Answer, error) {
		return &plugin.Answer{Channels: []*plugin.ChannelEstimate{{
			Name: "meter", OffsetAmperes: amperes, StandardUncertaintyAmperes: 0.1,
		}}}, nil
	}}
}

// failing answers so many summaries and then fails.
func failing(after int) *observer {
	o := fixed(1)
	answer := o.do
	o.do = func(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error) {
		if after--; after < 0 {
			return nil, errors.New("estimator broken: it is")
		}
		return answer(ctx, s)
	}
	return o
}

// hanging never answers.
func hanging() *observer {
	return &observer{do: func(ctx context.Context, _ *plugin.Summary) (*plugin.Answer, error) {
		<-ctx.Done()
		return nil, ctx.Err()
	}}
}

// starts hands out observers in order, by the candidate's name.
type starts map[string]func() (*observer, error)

func (s starts) start(_ context.Context, c Candidate, _ plugin.Conductor, kept pluginhost.Kept, reached func(Step)) (Started, error) {
	o, err := s[c.Program.Shipped]()
	if err != nil {
		return Started{}, err
	}
	reached(Configured)
	if len(kept.State) > 0 {
		reached(Restoring)
	}
	if string(kept.State) == "spoilt" {
		return Started{}, fmt.Errorf("%w: it is spoilt", pluginhost.ErrState)
	}
	o.kept = kept
	return Started{Observer: o, Method: "by test"}, nil
}

func always(o *observer) func() (*observer, error) {
	return func() (*observer, error) { return o, nil }
}

func named(name string) Candidate { return Candidate{Program: pluginhost.Program{Shipped: name}} }

// newConductor makes a conductor with one reported channel and a contactor on device dev, summaries of ten scans.
func newConductor(t *testing.T, to Sink, config ConductorConfig) *Conductor {
	t.Helper()
	c := unboundConductor(t, to, config)
	bindDevice(t, c)
	return c
}

func unboundConductor(t *testing.T, to Sink, config ConductorConfig) *Conductor {
	t.Helper()
	config.Name, config.ChargeFrom, config.PostNanos, config.Log = "pack", "meter", 1e9, zap.NewNop()
	config.RecordNanos, config.MostShadows = 5e9, 8
	config.Contactor = &Contactor{Device: "dev", Input: "open"}
	config.Lanes = []LaneConfig{{
		Name: "meter", SensorKind: "reported", Device: "dev", Input: "amperes", GapBoundAmperes: 100,
		Guard: []guard.Setting{{Name: "over", Side: guard.Positive, Instantaneous: &guard.Instantaneous{PickupAmperes: 50, Scans: 1}}},
		Sensor: func(inputs Inputs) (sensor.Config, error) {
			column, _, err := inputs.Find("amperes")
			return sensor.Config{
				Model: sensor.Reported{}, Input: column, Temperature: sensor.None, Supply: sensor.None, VoltsPerCount: 1, CalibrationA1: 1,
				MaximumAmperes: math.Inf(1), NoiseAmperes: 0.01, ZeroAmperes: 2,
			}, err
		},
	}}
	c, err := NewConductor(config, to)
	check(t, err)
	return c
}

func bindDevice(t *testing.T, c *Conductor) {
	t.Helper()
	inputs := NewInputs("dev", &plugin.Description{Inputs: []*plugin.Input{{Name: "amperes", Unit: "A"}, {Name: "open"}}})
	check(t, c.Bind(inputs, DeviceSettings{GapNanos: 5e8, SummaryScans: 10, StaleNanos: 5e9, EstimateStaleNanos: 5e9}))
}

// frame makes scans at 10 Hz from a sequence on, all of one current, with the contactor open or closed.
func frame(sequence uint64, amperes float64, scans int, open float64) *scan.Frame {
	f := &scan.Frame{
		Clock:   scan.Clock{Epoch: 1, Sequence: sequence, Wall: int64(sequence) * 1e8, Monotonic: int64(sequence) * 1e8, Period: 1e8},
		Count:   scans,
		Columns: []scan.Column{{Values: make([]float64, scans)}, {Values: []float64{open}}},
	}
	for k := range f.Columns[0].Values {
		f.Columns[0].Values[k] = amperes
	}
	return f
}
