package daemon

import (
	"path/filepath"
	"time"

	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/trail"
)

// openTrail opens the record of what estimators say, and tells it to subscribers.
func (r *running) openTrail(to *sink) (err error) {
	r.trail, err = trail.Open(filepath.Join(r.config.State, trail.FileName), trail.Config{
		Keep: time.Duration(nanos(r.config.Estimates.KeepDays * 86400)), Room: r.store.Spare, Log: r.options.Log.Named("estimates"),
	})
	if err != nil {
		return err
	}
	to.trail, to.estimates = r.trail, service.NewEstimates()
	r.backend.Trail, r.backend.Estimates = r.trail, to.estimates
	return nil
}
