package daemon

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/recording"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
	"github.com/ampledger/ampledger/plugins/plugin"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// recordings is what records, if a configuration says so. What is not recorded, and what had to give way, is told as events of the kind "storage" on
// the device's conductors.
type recordings struct {
	config   *config.Record
	recorder *recording.Recorder
	readings map[*pipeline.Lane]*recording.Readings
	log      *zap.Logger
}

// newRecordings gives nil if nothing is to be recorded.
func newRecordings(c *config.Config, told func(device, detail string), log *zap.Logger) (*recordings, error) {
	if c.Record == nil {
		return nil, nil
	}
	r := &recordings{config: c.Record, readings: map[*pipeline.Lane]*recording.Readings{}, log: log}
	var err error
	r.recorder, err = recording.New(recording.Settings{
		Folder: c.Record.Folder, RowGroup: time.Duration(nanos(c.Record.RowGroupSeconds)), RotateAfter: time.Duration(nanos(c.Record.FileSeconds)),
		RotateBytes: int64(c.Record.FileMegabytes * (1 << 20)), BudgetBytes: int64(c.Record.BudgetMegabytes * (1 << 20)),
	}, recording.Told{
		OnLost: func(lost recording.Lost) {
			why := "the disk does not keep up"
			if lost.Why != nil {
				why = lost.Why.Error()
			}
			told(lost.Device, fmt.Sprintf("%d scans from sequence %d to %d are not recorded: %s", lost.Scans, lost.First, lost.Last, why))
		},
		OnRemoved: func(path string, bytes int64) {
			log.Info("a recording had to give way", zap.String("file", path), zap.Int64("bytes", bytes))
		},
		OnRecovered: func(path string, saved *recording.Recovered, err error) {
			if err != nil {
				log.Warn("a recording could not be recovered", zap.String("file", path), zap.Error(err))
				return
			}
			log.Info("a recording was recovered", zap.String("file", saved.Path), zap.Int64("scans", saved.Scans), zap.Int64("cut_off_bytes", saved.CutOff))
		},
		OnFault: func(err error) { log.Error("recording failed", zap.Error(err)) },
	})
	if err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	return r, nil
}

// tellRecording gives what makes an event of something that is not recorded, on each conductor that uses the device.
func (r *running) tellRecording(to *sink, opening uint64) func(device, detail string) {
	times := 0 // of the recorder's goroutine
	return func(device, detail string) {
		times++
		now := time.Now().UnixNano()
		for _, c := range r.conductors {
			if name, _, _ := strings.Cut(device, "/"); c.Uses(device) || c.Name() == name {
				to.record(&ampledgerv1.Event{
					EventId: fmt.Sprintf("%d/%s/storage/recording/%d", opening, c.Name(), times), State: ampledgerv1.EventState_EVENT_STATE_RAISED,
					Conductor: c.Name(), Element: "recording", Kind: "storage", Direction: ampledgerv1.Direction_DIRECTION_BOTH,
					OnsetWallNanos: now, ChangeWallNanos: now, Detail: device + ": " + detail,
				})
			}
		}
	}
}

// device gives what takes a device's frames whenever its driver has described it; nil = it is not recorded.
func (r *recordings) device(name string) func(*plugin.Description) (func(*scan.Frame), error) {
	if r == nil || len(r.config.Devices) > 0 && !slices.Contains(r.config.Devices, name) {
		return nil
	}
	return func(description *plugin.Description) (func(*scan.Frame), error) {
		track, err := r.recorder.Track(&recorded.Head{Device: name, Description: description})
		if err != nil {
			return nil, err
		}
		return track.Frame, nil
	}
}

// take records a channel's readings, if that is wanted. Calls for one lane come one at a time.
func (r *recordings) take(lane *pipeline.Lane, readings *scan.Readings) {
	if r == nil || !r.config.Readings {
		return
	}
	if to := r.readings[lane]; to != nil {
		to.Take(readings)
	}
}

// prepare makes what records the readings of a conductor's channels. It comes before any of them.
func (r *recordings) prepare(c *pipeline.Conductor) error {
	if r == nil || !r.config.Readings {
		return nil
	}
	for _, lane := range c.Lanes() {
		to, err := r.recorder.Readings(c.Name(), lane.Name, 0, false)
		if err != nil {
			return fmt.Errorf("record: %w", err)
		}
		r.readings[lane] = to
	}
	return nil
}
