package service

import (
	"errors"
	"io"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/rig"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// rigStream is one rig at its device.
type rigStream struct {
	feedStream
	mailbox    *mailbox
	feed       *Feed
	seat       *rig.Seat
	conductors []*Conductor // that use the device
}

// run welcomes the rig and takes its frames until it is done.
func (r *rigStream) run() error {
	if err := r.checkEstimators(); err != nil {
		return err
	}
	err := r.Send(&ampledgerv1.FeedResponse{Item: &ampledgerv1.FeedResponse_Welcome{Welcome: r.welcome()}})
	for err == nil {
		err = r.one()
	}
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

func (r *rigStream) welcome() *ampledgerv1.FeedWelcome {
	w := &ampledgerv1.FeedWelcome{
		Mode: ampledgerv1.FeedMode_FEED_MODE_LIVE, MaximumScanCount: rig.MaxScans, MaximumMessageBytes: maximumRequest,
	}
	if r.feed.Lockstep() {
		w.Mode = ampledgerv1.FeedMode_FEED_MODE_LOCKSTEP
	}
	if description, err := r.feed.Describe(); err == nil {
		for _, input := range description.GetInputs() {
			w.Inputs = append(w.Inputs, &ampledgerv1.FeedInput{Name: input.GetName(), Unit: input.GetUnit()})
		}
	}
	w.NextSequence, w.Resumed = r.seat.Next()
	return w
}

// one takes a frame through and acknowledges it; io.EOF = the rig is done.
func (r *rigStream) one() error {
	request, err := r.mailbox.next(r.Context(), r.feed.Stopping())
	if err != nil {
		return err
	}
	frame := request.GetFrame()
	if frame == nil {
		return refuse(codes.InvalidArgument, "frame", "FRAME_INVALID", "only frames come after the hello")
	}
	r.feed.Aftermath.begin()
	first, err := r.seat.Hand(r.Context(), frame)
	frames, events := r.feed.Aftermath.end()
	if err != nil {
		return statusOf(err)
	}
	if err := r.checkEstimators(); err != nil {
		return err
	}
	return r.Send(&ampledgerv1.FeedResponse{Item: &ampledgerv1.FeedResponse_Acknowledgement{Acknowledgement: &ampledgerv1.FeedAcknowledgement{
		NextSequence: frame.GetFirstSequence() + uint64(frame.GetScanCount()), FirstDeviceSequence: first,
		Frames: frames, Events: events, Charges: r.charges(),
	}}})
}

// checkEstimators refuses to go on in lockstep without an estimator that there was to be: what follows would depend on when it failed.
func (r *rigStream) checkEstimators() error {
	if !r.feed.Lockstep() {
		return nil
	}
	for _, c := range r.conductors {
		if err := c.EstimatorFault(); err != nil {
			return refuse(codes.FailedPrecondition, "", "ESTIMATOR_FAILED", "in lockstep nothing goes on without the estimator: "+err.Error())
		}
	}
	return nil
}

// charges states the charge of each channel in lockstep.
func (r *rigStream) charges() (all []*ampledgerv1.FeedCharge) {
	if !r.feed.Lockstep() {
		return nil
	}
	for _, c := range r.conductors {
		for _, counted := range c.Counted() {
			opening := c.Opening[counted.Lane.Name]
			opening.Gaps = nil
			account := accountOf(counted.Lane.Name, join(opening, counted))
			account.EntryCount, account.NewestEntrySequence = 0, 0
			all = append(all, &ampledgerv1.FeedCharge{Conductor: c.Name(), Account: account})
		}
	}
	return all
}
