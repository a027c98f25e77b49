package score

import (
	"context"
	"fmt"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/estimator/biasfilter"
	"github.com/ampledger/ampledger/plugins/estimator/fixedzero"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// estimators are those that can be run in the caller's process.
var estimators = map[string]func() plugin.Estimator{
	"fixedzero":  func() plugin.Estimator { return fixedzero.New() },
	"biasfilter": func() plugin.Estimator { return biasfilter.New() },
}

// local is an estimator in the caller's process.
type local struct{ plugin.Estimator }

// startLocal implements pipeline.Start.
func startLocal(ctx context.Context, c pipeline.Candidate, conductor plugin.Conductor, _ pluginhost.Kept, _ func(pipeline.Step)) (pipeline.Started, error) {
	name := c.Program.Shipped
	settings, err := plugin.NewSettings(c.Settings)
	if err != nil {
		return pipeline.Started{}, fmt.Errorf("estimator %s: %w", name, err)
	}
	e := estimators[name]()
	method, err := e.Configure(ctx, conductor, settings)
	if err != nil {
		return pipeline.Started{}, fmt.Errorf("estimator %s: %w", name, err)
	}
	started := pipeline.Started{Observer: local{e}, Method: method}
	if driven, is := e.(plugin.PlayDriven); is {
		started.HalfWidths = driven.PlayHalfWidths()
	}
	return started, nil
}

// Observe implements pipeline.Observer.
func (l local) Observe(_ context.Context, summary *plugin.Summary) (*plugin.Answer, error) {
	return plugin.Ask(l.Estimator, summary)
}

// Snapshot implements pipeline.Observer.
func (l local) Snapshot(context.Context) ([]byte, error) { return l.Estimator.Snapshot() }

// PID implements pipeline.Observer: it is no process of its own.
func (l local) PID() int { return 0 }

// Close implements pipeline.Observer.
func (l local) Close() {}
