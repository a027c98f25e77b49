package service_test

import (
	"context"
	"errors"
	"math"
	"runtime"
	"testing"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// measuring opens a measurement of the shunt; end ends it, and waits until it has.
func (b *bench) measuring() (end func()) {
	c, ended := b.Conductor("pack"), make(chan struct{})
	ctx, cancel := context.WithCancel(b.t.Context())
	measure := func(ctx context.Context) error {
		_, err := c.Measure(ctx, []string{"shunt"}, 3600e9)
		return err
	}
	go func() {
		defer close(ended)
		for errors.Is(measure(ctx), pipeline.ErrMeasureBusy) { // the one that looks whether it is open was in the way
			runtime.Gosched()
		}
	}()
	over, done := context.WithCancel(b.t.Context())
	done()
	for !errors.Is(measure(over), pipeline.ErrMeasureBusy) {
		runtime.Gosched()
	}
	return func() {
		cancel()
		<-ended
	}
}

// TestRefusedChangeIsNotPut in the records: what is in the way is seen before anything is stored.
func TestRefusedChangeIsNotPut(t *testing.T) {
	b := newBench(t)
	first := b.apply(&ampledgerv1.ApplyCalibrationRequest{RecordSequence: b.zero(still(0.3), true).GetRecordSequence(), Force: true})
	z := b.zero(still(0.4), true)
	end := b.measuring()
	defer end()
	_, err := b.ApplyCalibration(t.Context(), &ampledgerv1.ApplyCalibrationRequest{RecordSequence: z.GetRecordSequence(), Force: true})
	refused(t, err, codes.Aborted, "MEASUREMENT_OPEN", "")
	_, err = b.RevertCalibration(t.Context(), &ampledgerv1.RevertCalibrationRequest{Conductor: "pack", Channel: "shunt"})
	refused(t, err, codes.Aborted, "MEASUREMENT_OPEN", "")
	newest, err := b.Store.NewestRecord(t.Context(), store.RecordFilter{Kinds: service.Changes})
	if err != nil || newest.GetRecordSequence() != first.GetRecord().GetRecordSequence() {
		t.Errorf("the newest change is %v, %v", newest, err)
	}
}

// meanwhile is a store of records during the storing of which something else happens.
type meanwhile struct {
	*store.Store
	happens func() error
}

// AppendRecord implements service.Records.
func (m *meanwhile) AppendRecord(ctx context.Context, record *ampledgerv1.CommissioningRecord) (*ampledgerv1.CommissioningRecord, error) {
	if record.GetApplied() != nil {
		if err := m.happens(); err != nil {
			return nil, err
		}
	}
	return m.Store.AppendRecord(ctx, record)
}

// TestUndoneChangeKeepsTheDate at which what is in force still should be found anew, when a measurement begins while the change is being stored.
func TestUndoneChangeKeepsTheDate(t *testing.T) {
	b := newBench(t)
	first := b.apply(&ampledgerv1.ApplyCalibrationRequest{
		RecordSequence: b.zero(still(0.3), true).GetRecordSequence(), Force: true, ExpiresWallNanos: math.MaxInt64,
	}).GetRecord()
	z := b.zero(still(0.4), true)
	end := func() {}
	b.Backend.Records = &meanwhile{b.Store, func() error { end = b.measuring(); return nil }}
	_, err := b.ApplyCalibration(t.Context(), &ampledgerv1.ApplyCalibrationRequest{RecordSequence: z.GetRecordSequence(), Force: true})
	end()
	refused(t, err, codes.Aborted, "MEASUREMENT_OPEN", "")
	newest, err := b.Store.NewestRecord(t.Context(), store.RecordFilter{Kinds: service.Changes})
	if err != nil {
		t.Fatal(err)
	}
	inForce := service.CorrectionOf(newest)
	if inForce.Record != first.GetRecordSequence() || inForce.Expires != math.MaxInt64 || b.Conductor("pack").InForce("shunt") != inForce.Record {
		t.Errorf("the next start puts %+v in force", inForce)
	}
}

// TestChangeThatCannotBeStored is not put in force, and says so.
func TestChangeThatCannotBeStored(t *testing.T) {
	b := newBench(t)
	z := b.zero(still(0.4), true)
	b.Backend.Records = &meanwhile{b.Store, func() error { return errors.New("the disk is full") }}
	_, err := b.ApplyCalibration(t.Context(), &ampledgerv1.ApplyCalibrationRequest{RecordSequence: z.GetRecordSequence(), Force: true})
	refused(t, err, codes.Unavailable, "RECORD_NOT_ON_DISK", "")
	if inForce := b.Conductor("pack").InForce("shunt"); inForce != 0 {
		t.Errorf("record %d is in force", inForce)
	}
}
