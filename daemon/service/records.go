package service

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Records keeps what was found at commissioning, as store.Store does.
type Records interface {
	// AppendRecord stores a record behind the newest one and gives it as it stands there; on return it is durable.
	AppendRecord(ctx context.Context, record *ampledgerv1.CommissioningRecord) (*ampledgerv1.CommissioningRecord, error)
	// Records gives records behind a record sequence, oldest first.
	Records(ctx context.Context, afterRecordSequence uint64, filter store.RecordFilter, limit int) ([]*ampledgerv1.CommissioningRecord, error)
	// Record gives one; store.ErrNoRecord: there is none.
	Record(ctx context.Context, recordSequence uint64) (*ampledgerv1.CommissioningRecord, error)
	// NewestRecord gives the newest that a filter lets through; store.ErrNoRecord: there is none.
	NewestRecord(ctx context.Context, filter store.RecordFilter) (*ampledgerv1.CommissioningRecord, error)
}

// mostRecords is how many records are given at once.
const mostRecords = 1000

// ListRecords implements the call.
func (s *commissioningServer) ListRecords(ctx context.Context, request *ampledgerv1.ListRecordsRequest) (*ampledgerv1.ListRecordsResponse, error) {
	if request.GetConductor() != "" {
		if _, err := s.backend.conductor(request.GetConductor()); err != nil {
			return nil, err
		}
	}
	limit := int(request.GetPageSize())
	if limit == 0 || limit > mostRecords {
		limit = mostRecords
	}
	records, err := s.backend.Records.Records(ctx, request.GetAfterSequence(),
		store.RecordFilter{Conductor: request.GetConductor(), Channel: request.GetChannel()}, limit)
	if err != nil {
		return nil, statusOf(err)
	}
	return &ampledgerv1.ListRecordsResponse{Records: records}, nil
}

// keep stores a record, with the time and who says so.
func (s *commissioningServer) keep(ctx context.Context, record *ampledgerv1.CommissioningRecord) (*ampledgerv1.CommissioningRecord, error) {
	record.WallNanos = time.Now().UnixNano()
	stored, err := s.backend.Records.AppendRecord(ctx, record)
	if err != nil {
		return nil, refuse(codes.Unavailable, "", "RECORD_NOT_ON_DISK", "the record could not be stored: "+err.Error())
	}
	return stored, nil
}

// channel finds a channel of a conductor that reads one.
func (s *commissioningServer) channel(conductor, channel string) (*Conductor, *pipeline.Lane, error) {
	c, err := s.backend.conductor(conductor)
	if err != nil {
		return nil, nil, err
	}
	for _, lane := range c.Lanes() {
		if lane.Name == channel && lane.SensorKind != pipeline.Fused {
			return c, lane, nil
		}
	}
	return nil, nil, refuse(codes.NotFound, "channel", "CHANNEL_UNKNOWN", "conductor "+quote(conductor)+" has no channel "+quote(channel)+" that reads a sensor")
}

// recordsOf gives the records of a channel that are named, or all of a kind that were found under the change in force. Each must be of that kind, of
// that channel and found under that change: what a channel indicated before a change, it does not indicate any more.
func (s *commissioningServer) recordsOf(ctx context.Context, c *Conductor, channel, kind string, named []uint64) (records []*ampledgerv1.CommissioningRecord, err error) {
	inForce := c.InForce(channel)
	if len(named) == 0 {
		return s.recordsUnder(ctx, c.Name(), channel, kind, inForce)
	}
	for _, sequence := range named {
		record, err := s.record(ctx, sequence)
		if err != nil {
			return nil, err
		}
		if record.GetConductor() != c.Name() || record.GetChannel() != channel || store.RecordKind(record) != kind {
			return nil, refuse(codes.InvalidArgument, kind+"_sequence", "RECORD_OF_ANOTHER_KIND",
				fmt.Sprintf("record %d is no %s of channel %s", sequence, kind, channel))
		}
		if foundUnder(record) != inForce {
			return nil, refuse(codes.InvalidArgument, kind+"_sequence", "RECORD_OF_BEFORE_A_CHANGE", fmt.Sprintf(
				"record %d was taken under another correction of channel %s than is in force now (%s, not %s): take it anew", sequence, channel,
				changeName(foundUnder(record)), changeName(inForce)))
		}
		records = append(records, record)
	}
	return records, nil
}

func (s *commissioningServer) recordsUnder(ctx context.Context, conductor, channel, kind string, inForce uint64) (found []*ampledgerv1.CommissioningRecord, err error) {
	for after := uint64(0); ; {
		page, err := s.backend.Records.Records(ctx, after, store.RecordFilter{Conductor: conductor, Channel: channel, Kinds: []string{kind}}, mostRecords)
		if err != nil {
			return nil, statusOf(err)
		}
		for _, record := range page {
			after = record.GetRecordSequence()
			if foundUnder(record) == inForce {
				found = append(found, record)
			}
		}
		if len(page) < mostRecords {
			return found, nil
		}
	}
}

// record gives one.
func (s *commissioningServer) record(ctx context.Context, sequence uint64) (*ampledgerv1.CommissioningRecord, error) {
	record, err := s.backend.Records.Record(ctx, sequence)
	if errors.Is(err, store.ErrNoRecord) {
		return nil, refuse(codes.NotFound, "record_sequence", "RECORD_UNKNOWN", fmt.Sprintf("there is no record %d", sequence))
	}
	if err != nil {
		return nil, statusOf(err)
	}
	return record, nil
}

// foundUnder is the change that was in force when something was found; 0 = none.
func foundUnder(record *ampledgerv1.CommissioningRecord) uint64 {
	for _, of := range []interface{ GetInForceSequence() uint64 }{record.GetZero(), record.GetDrift(), record.GetPoint(), record.GetCalibration()} {
		if under := of.GetInForceSequence(); under != 0 {
			return under
		}
	}
	return 0
}

// changeName is what a refusal calls a change.
func changeName(sequence uint64) string {
	if sequence == 0 {
		return "the configuration alone"
	}
	return fmt.Sprintf("record %d", sequence)
}

// isNumber tells a figure that is one.
func isNumber(v float64) bool { return v-v == 0 }
