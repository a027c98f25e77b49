package store

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"
)

// Entry is one line of the ledger: what one channel of one conductor counted, or what was said of it. The balance is the sum of entries.
type Entry struct {
	Sequence  uint64 // position in the ledger from 1; assigned by Append, which wants 0
	Conductor string
	Channel   string // of a mark or a configuration: the channel whose account is the conductor's
	Kind      Kind
	Device    string

	Epoch         uint64 // the device's time base
	FirstSequence uint64 // of the device, of the first reading covered; only intervals and adjustments cover any
	LastSequence  uint64 // of the last one

	FromWallNanos      int64
	ToWallNanos        int64 // may be before FromWallNanos if the clock was set
	FromMonotonicNanos int64
	ToMonotonicNanos   int64

	Totals
	GainRatio float64 // relative standard uncertainty of the gain, common to all of the entry

	Estimator  string // in force at the end; empty = none
	Generation uint64 // of the estimator
	Reason     string // why the entry was posted, in words

	Mark                Mark   // of a mark, else empty
	ConfigurationSHA256 string // of the configuration in force from here on, in hexadecimal; only of a configuration, else empty
}

// Totals are the parts of an entry that add up to a balance.
type Totals struct {
	DurationNanos           int64 // time integrated, gaps included
	OutMicrocoulombs        int64 // never negative
	InMicrocoulombs         int64 // never negative
	OffsetMicrocoulombs     int64 // offset subtracted, in the sign of out - in
	AdjustmentMicrocoulombs int64 // to be added to out - in: what an adjustment corrects it by
	SquareAmpereSeconds     float64
	ReadingCount            uint64 // usable readings
	Unusable                Unusable

	GapCount                uint64
	GapNanos                int64
	GapAssumedMicrocoulombs int64 // contained in out - in
	GapBoundMicrocoulombs   int64

	NoiseSquareCoulombs float64 // variance from noise, in square coulombs; as a difference of sums it may fall below 0
	ZeroCoulombs        float64 // standard uncertainty from the zero, which adds up linearly; negative where an adjustment made it less
}

// Unusable counts readings that were not integrated, by cause. One reading may count under several.
type Unusable struct {
	Missing          uint64
	NotFinite        uint64
	Saturated        uint64
	OutOfRange       uint64
	TimeRepeated     uint64
	TimeBackwards    uint64
	AuxiliaryMissing uint64
	Lost             uint64 // scans known from the sequence only
}

// NetMicrocoulombs is out less in.
func (t *Totals) NetMicrocoulombs() int64 { return t.OutMicrocoulombs - t.InMicrocoulombs }

// totalColumns name the columns of Totals in the order of fields.
var totalColumns = []string{
	"duration_nanos", "out_microcoulombs", "in_microcoulombs", "offset_microcoulombs", "adjustment_microcoulombs", "square_ampere_seconds", "reading_count",
	"missing_count", "not_finite_count", "saturated_count", "out_of_range_count",
	"time_repeated_count", "time_backwards_count", "auxiliary_missing_count", "lost_count",
	"gap_count", "gap_nanos", "gap_assumed_microcoulombs", "gap_bound_microcoulombs", "noise_square_coulombs", "zero_coulombs",
}

// fields point at the values, to be stored or to be scanned into.
func (t *Totals) fields() []any {
	u := &t.Unusable
	return []any{
		&t.DurationNanos, &t.OutMicrocoulombs, &t.InMicrocoulombs, &t.OffsetMicrocoulombs, &t.AdjustmentMicrocoulombs, &t.SquareAmpereSeconds, &t.ReadingCount,
		&u.Missing, &u.NotFinite, &u.Saturated, &u.OutOfRange,
		&u.TimeRepeated, &u.TimeBackwards, &u.AuxiliaryMissing, &u.Lost,
		&t.GapCount, &t.GapNanos, &t.GapAssumedMicrocoulombs, &t.GapBoundMicrocoulombs, &t.NoiseSquareCoulombs, &t.ZeroCoulombs,
	}
}

// entryColumns name the columns in the order of fields, which is the table's, less the chain that comes behind them.
var entryColumns = slices.Concat([]string{
	"entry_sequence", "conductor", "channel", "kind", "device", "epoch", "first_sequence", "last_sequence",
	"from_wall_nanos", "to_wall_nanos", "from_monotonic_nanos", "to_monotonic_nanos",
}, totalColumns, []string{
	"gain_ratio", "estimator", "generation", "reason", "stored_coulombs", "stored_uncertainty_coulombs", "stated_by", "note", "configuration_sha256",
})

// fields point at the values, to be stored or to be scanned into.
func (e *Entry) fields() []any {
	return slices.Concat([]any{
		&e.Sequence, &e.Conductor, &e.Channel, &e.Kind, &e.Device, &e.Epoch, &e.FirstSequence, &e.LastSequence,
		&e.FromWallNanos, &e.ToWallNanos, &e.FromMonotonicNanos, &e.ToMonotonicNanos,
	}, e.Totals.fields(), []any{
		&e.GainRatio, &e.Estimator, &e.Generation, &e.Reason,
		&e.Mark.StoredCoulombs, &e.Mark.StandardUncertaintyCoulombs, &e.Mark.By, &e.Mark.Note, &e.ConfigurationSHA256,
	})
}

// values are what the row holds: null where the kind has nothing to say.
func (e *Entry) values() []any {
	values := plain(e.fields())
	mark := slices.Index(entryColumns, "stored_coulombs")
	if e.Kind != Marked {
		clear(values[mark : mark+4])
	}
	if e.Kind != Configured {
		values[mark+4] = nil
	}
	return values
}

var insertEntry = insertion("entries", slices.Concat(entryColumns, []string{"chain"}))

// insertion writes the statement that stores one row.
func insertion(table string, columns []string) string {
	places := strings.TrimSuffix(strings.Repeat("?,", len(columns)), ",")
	return "INSERT INTO " + table + " (" + strings.Join(columns, ",") + ") VALUES (" + places + ")"
}

// validate lists every fault that would keep the entry out of the ledger for ever.
func (e *Entry) validate() error {
	faults := []error{e.validateKind(), inRange(entryColumns, e.fields())}
	if e.Sequence != 0 {
		faults = append(faults, fmt.Errorf("entry has sequence %d already", e.Sequence))
	}
	if e.Conductor == "" || e.Channel == "" || e.Device == "" {
		faults = append(faults, fmt.Errorf("entry of conductor %q, channel %q, device %q: none may be empty", e.Conductor, e.Channel, e.Device))
	}
	if e.LastSequence == math.MaxInt64 {
		faults = append(faults, errors.New("last_sequence leaves no next one"))
	}
	return errors.Join(faults...)
}

// signed are the columns that may be negative.
var signed = map[string]bool{
	"from_wall_nanos": true, "to_wall_nanos": true, "from_monotonic_nanos": true, "to_monotonic_nanos": true,
	"offset_microcoulombs": true, "adjustment_microcoulombs": true, "gap_assumed_microcoulombs": true, "assumed_net_microcoulombs": true,
}

// inRange refuses what a column cannot hold or must not.
func inRange(columns []string, fields []any) error {
	var faults []error
	for i, field := range fields {
		switch value := field.(type) {
		case *uint64:
			if *value > math.MaxInt64 {
				faults = append(faults, fmt.Errorf("%s is %d, beyond 63 bits", columns[i], *value))
			}
		case *int64:
			if *value < 0 && !signed[columns[i]] {
				faults = append(faults, fmt.Errorf("%s is %d, below 0", columns[i], *value))
			}
		case *float64:
			if math.IsNaN(*value) || math.IsInf(*value, 0) {
				faults = append(faults, fmt.Errorf("%s is %v", columns[i], *value))
			}
		case *string:
			if value != nil && !utf8.ValidString(*value) {
				faults = append(faults, fmt.Errorf("%s is %q, not UTF-8", columns[i], *value))
			}
		}
	}
	return errors.Join(faults...)
}
