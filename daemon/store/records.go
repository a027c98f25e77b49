package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// ErrNoRecord says that there is no such record of commissioning.
var ErrNoRecord = errors.New("no such record")

// RecordFilter says which records of commissioning are wanted.
type RecordFilter struct {
	Conductor string   // empty = all
	Channel   string   // empty = all
	Kinds     []string // as RecordKind names them; empty = all
}

var recordColumns = []string{"record_sequence", "conductor", "channel", "kind", "wall_nanos", "stated_by", "note", "refers_to", "body"}

var namedRecord = regexp.MustCompile(`^record (\d+), SHA-256 ([0-9a-f]{64})`) // as RecordName writes it

var insertRecord = insertion("commissioning", recordColumns)

const (
	lostRecord = "lost" // kind of a record that could not be read when the file was recovered

	lastRecord    = "SELECT coalesce(max(record_sequence), 0) FROM commissioning"
	wantedRecords = `(:conductor = '' OR conductor = :conductor) AND (:channel = '' OR channel = :channel)
		AND (:kinds = '' OR instr(:kinds, '/' || kind || '/') > 0)`
	selectRecords = "SELECT record_sequence, body FROM commissioning WHERE record_sequence > :after AND " + wantedRecords +
		" ORDER BY record_sequence LIMIT :limit"
	selectNewestRecord = "SELECT record_sequence, body FROM commissioning WHERE " + wantedRecords + " ORDER BY record_sequence DESC LIMIT 1"
)

// RecordKind names what a record says: zero, drift, point, calibration, applied, reverted; empty = nothing.
func RecordKind(record *ampledgerv1.CommissioningRecord) string {
	m := record.ProtoReflect()
	if body := m.WhichOneof(m.Descriptor().Oneofs().ByName("body")); body != nil {
		return string(body.Name())
	}
	return ""
}

// AppendRecord stores a record of commissioning behind the newest one and gives it as it stands there, with its sequence and its SHA-256. On return it is
// durable; it is never changed and never deleted. The sums of what it rests on are put in, whatever is given there. ErrInvalid: it has a sequence or a sum already, names no conductor or channel, says nothing, or refers
// to a record that is not there.
func (s *Store) AppendRecord(ctx context.Context, record *ampledgerv1.CommissioningRecord) (stored *ampledgerv1.CommissioningRecord, err error) {
	if err := validateRecord(record); err != nil {
		return nil, s.wrap("append record", fmt.Errorf("%w: %w", ErrInvalid, err))
	}
	err = s.write(ctx, "append record", func(tx *sql.Tx) error {
		var newest uint64
		if err := tx.QueryRowContext(ctx, lastRecord).Scan(&newest); err != nil {
			return err
		}
		if record.GetRefersToSequence() > newest {
			return fmt.Errorf("%w: it refers to record %d of %d", ErrInvalid, record.GetRefersToSequence(), newest)
		}
		covering := proto.CloneOf(record)
		if covering.RestsOnSha256, err = sumsOf(ctx, tx, restsOn(record, newest+1)); err != nil {
			return err
		}
		row, err := recordRow(covering)
		if err != nil {
			return fmt.Errorf("%w: %w", ErrInvalid, err)
		}
		row[0] = int64(newest + 1)
		if _, err := tx.ExecContext(ctx, insertRecord, row...); err != nil {
			return err
		}
		stored, err = readRecord(newest+1, row[len(row)-1].([]byte))
		return err
	})
	return stored, err
}

func validateRecord(record *ampledgerv1.CommissioningRecord) error {
	switch {
	case record.GetRecordSequence() != 0 || len(record.GetRecordSha256()) != 0:
		return fmt.Errorf("record has sequence %d already", record.GetRecordSequence())
	case record.GetConductor() == "" || record.GetChannel() == "":
		return fmt.Errorf("record of conductor %q, channel %q: neither may be empty", record.GetConductor(), record.GetChannel())
	case RecordKind(record) == "":
		return errors.New("record says nothing")
	}
	return nil
}

// recordRow gives a record's columns. Its sequence is no part of the body, which is what the sum is over.
func recordRow(record *ampledgerv1.CommissioningRecord) ([]any, error) {
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(record)
	if err != nil {
		return nil, err
	}
	row := []any{
		int64(0), record.GetConductor(), record.GetChannel(), RecordKind(record), record.GetWallNanos(), record.GetBy(), record.GetNote(), nil, body,
	}
	if refers := record.GetRefersToSequence(); refers != 0 {
		row[slices.Index(recordColumns, "refers_to")] = int64(refers)
	}
	return row, nil
}

// Records gives at most limit records of commissioning behind a record sequence, oldest first. No records are an empty answer and no error.
func (r *Reader) Records(ctx context.Context, afterRecordSequence uint64, filter RecordFilter, limit int) ([]*ampledgerv1.CommissioningRecord, error) {
	if limit < 1 {
		return nil, r.wrap("records", fmt.Errorf("%w: a limit of %d", ErrInvalid, limit))
	}
	records, err := collect(ctx, r.readers, scanRecord, selectRecords,
		append(filter.arguments(), sql.Named("after", clip(afterRecordSequence)), sql.Named("limit", limit))...)
	return records, r.wrap("records", err)
}

// Record gives one. ErrNoRecord: there is none of that sequence.
func (r *Reader) Record(ctx context.Context, recordSequence uint64) (*ampledgerv1.CommissioningRecord, error) {
	records, err := collect(ctx, r.readers, scanRecord, "SELECT record_sequence, body FROM commissioning WHERE record_sequence = ?", clip(recordSequence))
	return only(r, fmt.Sprintf("record %d", recordSequence), records, err)
}

// NewestRecord gives the newest that a filter lets through. ErrNoRecord: there is none.
func (r *Reader) NewestRecord(ctx context.Context, filter RecordFilter) (*ampledgerv1.CommissioningRecord, error) {
	records, err := collect(ctx, r.readers, scanRecord, selectNewestRecord, filter.arguments()...)
	return only(r, "newest record", records, err)
}

func only(r *Reader, operation string, records []*ampledgerv1.CommissioningRecord, err error) (*ampledgerv1.CommissioningRecord, error) {
	if err == nil && len(records) == 0 {
		err = ErrNoRecord
	}
	if err != nil {
		return nil, r.wrap(operation, err)
	}
	return records[0], nil
}

func (f *RecordFilter) arguments() []any {
	kinds := ""
	if len(f.Kinds) > 0 {
		kinds = "/" + strings.Join(f.Kinds, "/") + "/"
	}
	return []any{sql.Named("conductor", f.Conductor), sql.Named("channel", f.Channel), sql.Named("kinds", kinds)}
}

func scanRecord(rows *sql.Rows) (*ampledgerv1.CommissioningRecord, error) {
	var sequence uint64
	var body []byte
	if err := rows.Scan(&sequence, &body); err != nil {
		return nil, err
	}
	return readRecord(sequence, body)
}

// readRecord gives a stored record with its place and its sum.
func readRecord(sequence uint64, body []byte) (*ampledgerv1.CommissioningRecord, error) {
	record := new(ampledgerv1.CommissioningRecord)
	if err := proto.Unmarshal(body, record); err != nil {
		return nil, fmt.Errorf("%w: record %d: %w", ErrDamaged, sequence, err)
	}
	sum := sha256.Sum256(body)
	record.RecordSequence, record.RecordSha256 = sequence, sum[:]
	return record, nil
}

// NamedRecord gives the record that the reason of an entry names, and the sum that it had; 0 = it names none.
func NamedRecord(reason string) (recordSequence uint64, sum []byte) {
	named := namedRecord.FindStringSubmatch(reason)
	if named == nil {
		return 0, nil
	}
	sequence, _ := strconv.ParseInt(named[1], 10, 64) // digits; too many give the greatest, which is none
	sum, _ = hex.DecodeString(named[2])
	return uint64(sequence), sum
}

// RecordName is what a ledger entry calls a record.
func RecordName(record *ampledgerv1.CommissioningRecord) string {
	return fmt.Sprintf("record %d, SHA-256 %x", record.GetRecordSequence(), record.GetRecordSha256())
}
