package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/store"
)

// keptWithin is the longest a state may take to be stored.
const keptWithin = 10 * time.Second

// restore hands a conductor what its estimators knew when the daemon ran last. What cannot be read is told and left: the estimator begins anew.
func (r *running) restore(ctx context.Context, c *pipeline.Conductor, of config.Conductor) error {
	if of.Estimator != nil {
		if err := r.restoreOne(ctx, c, "", of.Estimator.Plugin); err != nil {
			return err
		}
	}
	for _, s := range of.Shadows {
		if err := r.restoreOne(ctx, c, s.Name, s.Plugin); err != nil {
			return err
		}
	}
	return nil
}

// stateOf is what the state of an estimator is kept as.
func stateOf(plugin, shadow string) string {
	if shadow == "" {
		return plugin
	}
	return plugin + " as " + shadow // no plugin's name has a space
}

func (r *running) restoreOne(ctx context.Context, c *pipeline.Conductor, shadow string, of config.Plugin) error {
	name := program(of).Name()
	snapshot, err := r.store.Snapshot(ctx, c.Name(), stateOf(name, shadow))
	if errors.Is(err, store.ErrNoSnapshot) {
		return nil
	}
	if err != nil {
		return err
	}
	kept := &pipeline.Kept{}
	if err := json.Unmarshal(snapshot.State, kept); err != nil {
		r.options.Log.Error("what an estimator knew cannot be read; it begins anew", zap.String("conductor", c.Name()), zap.String("estimator", name), zap.Error(err))
		return nil
	}
	kept.Shadow, kept.Apart = shadow, true // a shadow counted nothing
	if shadow == "" {
		if kept.Apart, err = r.anotherCounted(ctx, c, name); err != nil {
			return err
		}
	}
	c.Restore(kept)
	return nil
}

// anotherCounted tells whether the newest entry of any channel was counted under another estimator: then the state is older than that.
func (r *running) anotherCounted(ctx context.Context, c *pipeline.Conductor, estimator string) (bool, error) {
	for _, lane := range c.Lanes() {
		newest, err := r.store.NewestEntry(ctx, store.Filter{
			Conductor: c.Name(), Channel: lane.Name, Kinds: []store.Kind{store.Interval, store.Adjustment},
		})
		if err != nil && !errors.Is(err, store.ErrNoEntries) {
			return false, err
		}
		if newest.Estimator != "" && newest.Estimator != estimator {
			return true, nil
		}
	}
	return false, nil
}

// Keep implements pipeline.Sink.
func (s *sink) Keep(conductor string, kept *pipeline.Kept) {
	ctx, cancel := context.WithTimeout(context.Background(), keptWithin)
	defer cancel()
	state, err := json.Marshal(kept)
	if err == nil {
		err = s.recorder.Flush(ctx) // the ledger first: a state that is ahead of it would correct what was not counted
	}
	if err == nil {
		err = s.store.PutSnapshot(ctx, store.Snapshot{Conductor: conductor, Plugin: stateOf(kept.Plugin, kept.Shadow), WallNanos: kept.Wall, State: state})
	}
	if err != nil {
		s.log.Error("what an estimator knows was not kept; that of before stays", zap.String("conductor", conductor), zap.Error(err))
	}
}
