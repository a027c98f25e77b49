package store

import (
	"maps"
	"slices"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// queue is what waits for the disk, in the order it came. What is being written stays in it until it is durable, so a retry takes
// what came meanwhile as well, and the bounds count it.
type queue struct {
	items  []item
	rows   int               // of postings, gaps included
	events int               //
	holds  map[string]uint64 // by device, the highest asked for and not yet durable
	newest uint64            // ticket given out last; tickets count what was taken in
}

// item is a posting or an event.
type item struct {
	ticket  uint64
	posting *Posting
	event   *ampledgerv1.Event
}

// round is what is written in one transaction.
type round struct {
	batch   Batch
	items   int    // taken from the front of the queue
	through uint64 // everything up to this ticket is in it
}

// rowsOf counts the rows of a posting.
func rowsOf(posting *Posting) int { return 1 + len(posting.Gaps) }

// post takes a posting in; one that is larger than the whole queue only if no other waits.
func (q *queue) post(posting *Posting, limit int) bool {
	rows := rowsOf(posting)
	if q.rows > 0 && q.rows+rows > limit {
		return false
	}
	q.rows += rows
	q.items = append(q.items, item{ticket: q.ticket(), posting: posting})
	return true
}

// tell takes an event in.
func (q *queue) tell(event *ampledgerv1.Event, limit int) bool {
	if q.events >= limit {
		return false
	}
	q.events++
	q.items = append(q.items, item{ticket: q.ticket(), event: event})
	return true
}

// hold takes a hold in; a lower one of the same device is part of it.
func (q *queue) hold(device string, through uint64) {
	if q.holds == nil {
		q.holds = map[string]uint64{}
	}
	q.ticket()
	q.holds[device] = max(q.holds[device], through)
}

func (q *queue) ticket() uint64 {
	q.newest++
	return q.newest
}

func (q *queue) empty() bool { return len(q.items) == 0 && len(q.holds) == 0 }

// front gives the next round without taking it out: all holds, and items in their order while they fit.
func (q *queue) front(limit int) round {
	r := round{through: q.newest}
	for rows := 0; r.items < len(q.items); r.items++ {
		next := &q.items[r.items]
		if rows += next.rows(); rows > limit && r.items > 0 {
			r.through = next.ticket - 1
			break
		}
		if next.posting != nil {
			r.batch.Postings = append(r.batch.Postings, *next.posting)
		} else {
			r.batch.Events = append(r.batch.Events, next.event)
		}
	}
	for _, device := range slices.Sorted(maps.Keys(q.holds)) {
		r.batch.Holds = append(r.batch.Holds, Hold{device, q.holds[device]})
	}
	return r
}

// drop takes a round out that is durable.
func (q *queue) drop(r *round) {
	for i := range q.items[:r.items] {
		if posting := q.items[i].posting; posting != nil {
			q.rows -= rowsOf(posting)
		} else {
			q.events--
		}
	}
	clear(q.items[:r.items])
	q.items = q.items[r.items:]
	for _, hold := range r.batch.Holds {
		if q.holds[hold.Device] == hold.Through {
			delete(q.holds, hold.Device)
		}
	}
}

func (i *item) rows() int {
	if i.posting != nil {
		return rowsOf(i.posting)
	}
	return 1
}
