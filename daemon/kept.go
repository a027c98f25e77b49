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

// restore hands a conductor what its estimator knew when the daemon ran last. What cannot be read is told and left: the estimator begins anew.
func (r *running) restore(ctx context.Context, c *pipeline.Conductor, e *config.Estimator) error {
	if e == nil {
		return nil
	}
	name := program(e.Plugin).Name()
	snapshot, err := r.store.Snapshot(ctx, c.Name(), name)
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
	c.Restore(kept)
	return nil
}

// Keep implements pipeline.Sink.
func (s *sink) Keep(conductor string, kept *pipeline.Kept) {
	ctx, cancel := context.WithTimeout(context.Background(), keptWithin)
	defer cancel()
	state, err := json.Marshal(kept)
	if err == nil {
		err = s.store.PutSnapshot(ctx, store.Snapshot{Conductor: conductor, Plugin: kept.Plugin, WallNanos: kept.Wall, State: state})
	}
	if err != nil {
		s.log.Error("what an estimator knows was not kept; that of before stays", zap.String("conductor", conductor), zap.Error(err))
	}
}
