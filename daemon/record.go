package daemon

import (
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
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
	readings map[*pipeline.Lane]*channelRecording
	told     func(device, detail string)
	log      *zap.Logger
}

// channelRecording is what records a channel's readings, from the first of them on, which says what they are.
type channelRecording struct {
	begun bool
	to    *recording.Readings // nil = they cannot be recorded
}

// newRecordings gives nil if nothing is to be recorded.
func newRecordings(c *config.Config, told func(device, detail string), log *zap.Logger) (*recordings, error) {
	if c.Record == nil {
		return nil, nil
	}
	r := &recordings{config: c.Record, readings: map[*pipeline.Lane]*channelRecording{}, told: told, log: log}
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
	var times atomic.Int64
	return func(device, detail string) {
		now, number := time.Now().UnixNano(), times.Add(1)
		for _, c := range r.conductors {
			if name, _, _ := strings.Cut(device, "/"); c.Uses(device) || c.Name() == name {
				to.record(&ampledgerv1.Event{
					EventId: fmt.Sprintf("%d/%s/storage/recording/%d", opening, c.Name(), number), State: ampledgerv1.EventState_EVENT_STATE_RAISED,
					Conductor: c.Name(), Element: "recording", Kind: "storage", Direction: ampledgerv1.Direction_DIRECTION_BOTH,
					OnsetWallNanos: now, ChangeWallNanos: now, Detail: device + ": " + detail,
				})
			}
		}
	}
}

// device gives what takes a device's frames whenever its driver has described it. What cannot be recorded is told, and read all the same.
func (r *recordings) device(name string) func(*plugin.Description) func(*scan.Frame) {
	if r == nil || len(r.config.Devices) > 0 && !slices.Contains(r.config.Devices, name) {
		return nil
	}
	return func(description *plugin.Description) func(*scan.Frame) {
		track, err := r.recorder.Track(&recorded.Head{Device: name, Description: description})
		if err != nil {
			r.told(name, "it is not recorded: "+err.Error())
			return nil
		}
		return track.Frame
	}
}

// prepare makes room for a conductor's channels. It comes before any of their readings.
func (r *recordings) prepare(c *pipeline.Conductor) {
	if r == nil || !r.config.Readings {
		return
	}
	for _, lane := range c.Lanes() {
		r.readings[lane] = &channelRecording{}
	}
}

// take records a channel's readings, if that is wanted. Calls for one lane come one at a time.
func (r *recordings) take(lane *pipeline.Lane, readings *scan.Readings) {
	if r == nil || r.readings[lane] == nil {
		return
	}
	of := r.readings[lane]
	if !of.begun {
		of.begun, of.to = true, r.begin(lane, readings)
	}
	if of.to != nil {
		of.to.Take(readings)
	}
}

func (r *recordings) begin(lane *pipeline.Lane, first *scan.Readings) *recording.Readings {
	rate := 0.0
	if first.Period > 0 {
		rate = 1e9 / float64(first.Period)
	}
	to, err := r.recorder.Readings(lane.Conductor, lane.Name, rate, first.Averaged)
	if err != nil {
		r.told(lane.Conductor+"/"+lane.Name, "it is not recorded: "+err.Error())
	}
	return to
}
