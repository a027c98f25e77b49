package servicetest

import (
	"context"
	"errors"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// ErrDead is what the estimator "dead" does not start for, and what "dies" fails with at its first summary.
var ErrDead = errors.New("out of order")

// observer is an estimator in the test's own process. "fixed" answers each summary with the offset in its settings, "mute" never answers.
type observer struct {
	program string
	amperes float64
}

// start implements pipeline.Start.
func start(_ context.Context, c pipeline.Candidate, _ plugin.Conductor, _ pluginhost.Kept, reached func(pipeline.Step)) (pipeline.Started, error) {
	if c.Program.Shipped == "dead" {
		return pipeline.Started{}, ErrDead
	}
	reached(pipeline.Configured)
	amperes, _ := c.Settings["amperes"].(float64)
	return pipeline.Started{Observer: &observer{c.Program.Shipped, amperes}, Method: "takes what it is told"}, nil
}

// Observe implements pipeline.Observer.
func (o *observer) Observe(ctx context.Context, summary *plugin.Summary) (*plugin.Answer, error) {
	switch o.program {
	case "dies":
		return nil, ErrDead
	case "mute":
		<-ctx.Done()
		return nil, ctx.Err()
	}
	answer := &plugin.Answer{}
	for _, channel := range summary.GetChannels() {
		answer.Channels = append(answer.Channels, &plugin.ChannelEstimate{Name: channel.GetName(), OffsetAmperes: o.amperes, StandardUncertaintyAmperes: 0.5})
	}
	return answer, nil
}

// Snapshot implements pipeline.Observer.
func (o *observer) Snapshot(context.Context) ([]byte, error) { return []byte(o.program), nil }

// PID implements pipeline.Observer.
func (o *observer) PID() int { return 4711 }

// Close implements pipeline.Observer.
func (o *observer) Close() {}
