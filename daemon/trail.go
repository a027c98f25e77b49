package daemon

import (
	"path/filepath"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/trail"
)

// openTrail opens the record of what estimators say, and tells it to subscribers.
func (r *running) openTrail(to *sink) {
	to.estimates = service.NewEstimates()
	r.backend.Estimates = to.estimates
	var err error
	r.trail, err = trail.Open(filepath.Join(r.config.State, trail.FileName), trail.Config{
		Keep: time.Duration(nanos(r.config.Estimates.KeepDays * 86400)), Room: r.store.Spare, Log: r.options.Log.Named("estimates"),
	})
	if err != nil { // nothing depends on it
		r.options.Log.Error("what estimators say is not recorded in this run", zap.Error(err))
		return
	}
	to.trail, r.backend.Trail = r.trail, r.trail
}
