package daemon

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// correct puts in force again what commissioning found of a conductor's channels. Where the record of that is lost, nothing is in force, and an event says so.
func (r *running) correct(ctx context.Context, c *pipeline.Conductor, to *sink, opening uint64) error {
	for _, lane := range c.Lanes() {
		newest, err := r.newestChange(ctx, c, lane)
		if err != nil {
			return err
		}
		to.told.set(lane, newest.told)
		if newest.lost() {
			now := time.Now().UnixNano()
			to.record(&ampledgerv1.Event{
				EventId: fmt.Sprintf("%d/%s/calibration/%s/lost", opening, c.Name(), lane.Name), State: ampledgerv1.EventState_EVENT_STATE_RAISED,
				Conductor: c.Name(), Element: lane.Name, Kind: "calibration", Direction: ampledgerv1.Direction_DIRECTION_BOTH,
				OnsetWallNanos: now, ChangeWallNanos: now, Detail: newest.lostReason(),
			})
		} else if newest.record != nil {
			c.Correct(lane.Name, service.CorrectionOf(newest.record))
		}
	}
	return nil
}

// newestChange is the newest change of a channel, as the records and the ledger have it.
type newestChange struct {
	record *ampledgerv1.CommissioningRecord // nil = there is none
	told   string                           // the reason of the newest entry of a change; empty = there is none
}

func (r *running) newestChange(ctx context.Context, c *pipeline.Conductor, lane *pipeline.Lane) (newest newestChange, err error) {
	newest.record, err = r.store.NewestRecord(ctx, store.RecordFilter{Conductor: c.Name(), Channel: lane.Name, Kinds: service.Changes})
	if err != nil && !errors.Is(err, store.ErrNoRecord) {
		return newest, err
	}
	entry, err := r.store.NewestEntry(ctx, store.Filter{Conductor: c.Name(), Channel: lane.Name, Kinds: []store.Kind{store.Commissioned}})
	if err != nil && !errors.Is(err, store.ErrNoEntries) {
		return newest, err
	}
	newest.told = entry.Reason
	return newest, nil
}

// lost tells that the ledger names a change behind all that are on file: the file was recovered without it.
func (n *newestChange) lost() bool {
	named, _ := store.NamedRecord(n.told)
	return named > n.record.GetRecordSequence()
}

func (n *newestChange) lostReason() string {
	named, sum := store.NamedRecord(n.told)
	lost := &ampledgerv1.CommissioningRecord{RecordSequence: named, RecordSha256: sum}
	return store.RecordName(lost) + notInForce + ": the record is lost; calibrate anew"
}

// untold gives the reason of the entry that the ledger does not have yet; empty = it has it.
func (n *newestChange) untold() string {
	switch {
	case n.lost() && strings.Contains(n.told, notInForce), !n.lost() && n.record == nil:
		return ""
	case n.lost():
		return n.lostReason()
	}
	if name := store.RecordName(n.record); !strings.HasPrefix(n.told, name+":") {
		return name + ": in force since this start of the daemon, which had ended before it was"
	}
	return ""
}

// untoldChanges gives the entries of changes that the ledger does not have yet: the daemon ended between the record and the entry, and they are in force
// from now on; or the record is lost, and its change is in force no more.
func (r *running) untoldChanges(ctx context.Context, c *pipeline.Conductor, now int64) (postings []store.Posting, err error) {
	for _, lane := range c.Lanes() {
		newest, err := r.newestChange(ctx, c, lane)
		if err != nil {
			return nil, err
		}
		if reason := newest.untold(); reason != "" {
			r.told.set(lane, reason)
			postings = append(postings, store.Posting{Entry: changeEntry(lane, now, reason)})
		}
	}
	return postings, nil
}

// changeEntry is an entry of a change that is no doing of the data path.
func changeEntry(lane *pipeline.Lane, now int64, reason string) store.Entry {
	return store.Entry{
		Kind: store.Commissioned, Conductor: lane.Conductor, Channel: lane.Name, Device: lane.Device, FromWallNanos: now, ToWallNanos: now, Reason: reason,
	}
}

// tellInForce posts of a device's channels what the ledger says is not in force any more and is again, since the configuration converts as it did
// before. The device must be described.
func (r *running) tellInForce(device string) {
	for _, c := range r.conductors {
		for _, lane := range c.Lanes() {
			if lane.Device != device || c.InForce(lane.Name) == 0 {
				continue
			}
			post := func(reason string) bool {
				return r.recorder.Post(changeEntry(lane, time.Now().UnixNano(), reason), nil)
			}
			if !r.told.again(lane, post) {
				r.options.Log.Error("the ledger has no room for what is in force again", zap.String("channel", lane.Name))
			}
		}
	}
}
