package service

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// missToldEvery is how often it is told, while it goes on, that events get no waveform.
const missToldEvery = time.Minute

// missed counts events of a conductor that will have no waveform.
type missed struct {
	count       int
	first, last int64 // wall-clock time of their onsets
}

// miss notes an event that will have no waveform. It needs w.mu.
func (w *Waveforms) miss(event *ampledgerv1.Event) {
	delete(w.taking, event.GetEventId())
	of := w.missed[event.GetConductor()]
	if of == nil {
		of = &missed{first: event.GetOnsetWallNanos()}
		w.missed[event.GetConductor()] = of
	}
	of.count++
	of.last = event.GetOnsetWallNanos()
}

// tellMissed tells of events without a waveform: when it is over, and now and then while it goes on.
func (w *Waveforms) tellMissed(over bool) {
	if !over && time.Since(w.toldMiss) < missToldEvery {
		return
	}
	w.mu.Lock()
	all := w.missed
	if len(all) > 0 {
		w.missed = map[string]*missed{}
	}
	w.mu.Unlock()
	for _, conductor := range slices.Sorted(maps.Keys(all)) {
		of := all[conductor]
		w.toldMiss = time.Now()
		w.tell(conductor, fmt.Sprintf("no waveform was kept of %d events with onsets from %s to %s: %d others were being taken",
			of.count, clock(of.first), clock(of.last), mostWindows))
	}
}

// tell gives an event of kind storage, which is raised and over at once.
func (w *Waveforms) tell(conductor, detail string) {
	w.storages++
	now := time.Now().UnixNano()
	w.config.Tell(&ampledgerv1.Event{
		EventId: fmt.Sprintf("%s/%s/storage/%s/%d", w.config.EventPrefix, conductor, storageElement, w.storages),
		State:   ampledgerv1.EventState_EVENT_STATE_RAISED, Conductor: conductor, Element: storageElement, Kind: "storage",
		Direction: ampledgerv1.Direction_DIRECTION_BOTH, OnsetWallNanos: now, ChangeWallNanos: now, Detail: detail,
	})
}

// drops are the waveforms of a conductor that were dropped.
type drops struct {
	count, unseen int // all, and those of events that nobody had acknowledged
	bytes         int64
	first, last   int64 // wall-clock time of their onsets
}

func (d *drops) add(one *store.DroppedWaveform) {
	if d.count == 0 {
		d.first, d.last = one.WallNanos, one.WallNanos
	}
	d.first, d.last = min(d.first, one.WallNanos), max(d.last, one.WallNanos)
	d.count++
	d.bytes += one.Bytes
	if !one.Acknowledged {
		d.unseen++
	}
}

// retain drops what is beyond the limits and tells it.
func (w *Waveforms) retain(ctx context.Context) {
	limits, bound := store.WaveformLimits{Bytes: w.config.Bytes}, []string{fmt.Sprintf("more than %.4g MB", float64(w.config.Bytes)/(1<<20))}
	if w.config.MostAge > 0 {
		oldest := time.Now().Add(-w.config.MostAge).UnixNano()
		limits.FromWall = &oldest
		bound = append(bound, fmt.Sprintf("older than %.4g days", w.config.MostAge.Hours()/24))
	}
	why := strings.Join(bound, ", or ")
	all := map[string]*drops{}
	for {
		one, err := w.config.Store.DropWaveform(ctx, limits, "dropped at "+clock(time.Now().UnixNano())+": "+why)
		if err != nil {
			w.config.Log.Error("waveforms beyond the limits were not dropped", zap.Error(err))
		}
		if one == nil {
			break
		}
		if all[one.Conductor] == nil {
			all[one.Conductor] = new(drops)
		}
		all[one.Conductor].add(one)
	}
	for _, conductor := range slices.Sorted(maps.Keys(all)) {
		d := all[conductor]
		w.tell(conductor, fmt.Sprintf("the waveforms of %d events with onsets from %s to %s were dropped, %d of them not acknowledged, %d bytes in all: %s",
			d.count, clock(d.first), clock(d.last), d.unseen, d.bytes, why))
	}
}

// clock writes a wall-clock time.
func clock(wallNanos int64) string { return time.Unix(0, wallNanos).UTC().Format(time.RFC3339Nano) }
