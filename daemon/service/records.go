package service

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

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

const (
	mostRecords     = 1000    // in one answer
	mostRecordBytes = 1 << 20 // in one answer, but one record is always given
	recordsAtOnce   = 50      // read from the store
)

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
	return s.pageOf(ctx, request.GetAfterSequence(), store.RecordFilter{Conductor: request.GetConductor(), Channel: request.GetChannel()}, limit)
}

// pageOf gives records until there are as many as the limit, or as large as an answer may be.
func (s *commissioningServer) pageOf(ctx context.Context, after uint64, filter store.RecordFilter, limit int) (*ampledgerv1.ListRecordsResponse, error) {
	page, size := &ampledgerv1.ListRecordsResponse{}, 0
	for {
		wanted := min(limit-len(page.Records), recordsAtOnce)
		if wanted == 0 {
			return page, nil
		}
		records, err := s.backend.Records.Records(ctx, after, filter, wanted)
		if err != nil {
			return nil, statusOf(err)
		}
		for _, record := range records {
			after, size = record.GetRecordSequence(), size+proto.Size(record)
			if size > mostRecordBytes && len(page.Records) > 0 {
				return page, nil
			}
			page.Records = append(page.Records, record)
		}
		if len(records) < wanted {
			return page, nil
		}
	}
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

// mostFitted is how many records a fit may be made of: what it costs grows with their square.
const mostFitted = 2000

// recordsOf gives the records of a channel that are named, or all of a kind that were found on the footing of now. Each must be of that kind, of that channel, found
// on that footing and named once: twice the same figure is no second one.
func (s *commissioningServer) recordsOf(ctx context.Context, c *Conductor, channel, kind string, named []uint64, now footing) (records []*ampledgerv1.CommissioningRecord, err error) {
	field := kind + "_sequence"
	if len(named) > mostFitted {
		return nil, tooMany(field)
	}
	if len(named) == 0 {
		return s.recordsOn(ctx, store.RecordFilter{Conductor: c.Name(), Channel: channel, Kinds: []string{kind}}, field, now)
	}
	once := map[uint64]bool{}
	for _, sequence := range named {
		if once[sequence] {
			return nil, refuse(codes.InvalidArgument, field, "RECORD_NAMED_TWICE", fmt.Sprintf("record %d is named twice: it counts once", sequence))
		}
		once[sequence] = true
		record, err := s.record(ctx, sequence)
		if err != nil {
			return nil, err
		}
		if record.GetConductor() != c.Name() || record.GetChannel() != channel || store.RecordKind(record) != kind {
			return nil, refuse(codes.InvalidArgument, field, "RECORD_OF_ANOTHER_KIND",
				fmt.Sprintf("record %d is no %s of channel %s", sequence, kind, channel))
		}
		if reason, text := footingOf(record).against(now, sequence); reason != "" {
			return nil, refuse(codes.InvalidArgument, field, reason, text)
		}
		records = append(records, record)
	}
	return records, nil
}

// recordsOn gives all that a filter lets through and that were found on a footing.
func (s *commissioningServer) recordsOn(ctx context.Context, filter store.RecordFilter, field string, now footing) (found []*ampledgerv1.CommissioningRecord, err error) {
	for after := uint64(0); ; {
		page, err := s.backend.Records.Records(ctx, after, filter, recordsAtOnce)
		if err != nil {
			return nil, statusOf(err)
		}
		for _, record := range page {
			after = record.GetRecordSequence()
			if footingOf(record) == now {
				found = append(found, record)
			}
		}
		if len(found) > mostFitted {
			return nil, tooMany(field)
		}
		if len(page) < recordsAtOnce {
			return found, nil
		}
	}
}

func tooMany(field string) error {
	return refuse(codes.InvalidArgument, field, "TOO_MANY_RECORDS", fmt.Sprintf("a fit is made of at most %d records: name fewer", mostFitted))
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

// isNumber tells a figure that is one.
func isNumber(v float64) bool { return v-v == 0 }
