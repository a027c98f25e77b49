package service_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// turned keeps a record anew as it would have been found with reversed: true in the configuration.
func (b *bench) turned(sequence uint64) uint64 {
	b.t.Helper()
	found, err := b.Store.Record(b.t.Context(), sequence)
	if err != nil {
		b.t.Fatal(err)
	}
	other := proto.CloneOf(found)
	other.RecordSequence, other.RecordSha256 = 0, nil
	basis := strings.Replace(b.basis(), "reversed: false", "reversed: true", 1)
	switch {
	case other.GetZero() != nil:
		other.GetZero().Basis = basis
	case other.GetPoint() != nil:
		other.GetPoint().Basis = basis
	default:
		other.GetCalibration().Basis = basis
	}
	stored, err := b.Store.AppendRecord(b.t.Context(), other)
	if err != nil {
		b.t.Fatal(err)
	}
	return stored.GetRecordSequence()
}

// TestFoundOnAnotherConversion refuses to apply and to fit what was found while the configuration had raw values converted otherwise, and passes it over where nothing is
// named.
func TestFoundOnAnotherConversion(t *testing.T) {
	b := newBench(t)
	apply := func(sequence uint64) error {
		_, err := b.ApplyCalibration(t.Context(), &ampledgerv1.ApplyCalibrationRequest{RecordSequence: sequence, Force: true})
		return err
	}
	z := b.zero(still(0.3), true)
	if z.GetFound().GetBasis() != b.basis() {
		t.Errorf("a zero on %q", z.GetFound().GetBasis())
	}
	refused(t, apply(b.turned(z.GetRecordSequence())), codes.FailedPrecondition, "FOUND_ON_ANOTHER_CONVERSION", "")
	points := []uint64{b.point(0, 0.1).GetRecordSequence(), b.point(50, 50.1).GetRecordSequence()}
	odd := b.turned(points[1])
	_, err := b.FitCalibration(t.Context(), &ampledgerv1.FitCalibrationRequest{Conductor: "pack", Channel: "shunt", PointSequence: append(slices.Clone(points), odd)})
	refused(t, err, codes.InvalidArgument, "FOUND_ON_ANOTHER_CONVERSION", "point_sequence")
	fitted, err := b.fit()
	if err != nil {
		t.Fatal(err)
	}
	if k := fitted.GetCalibration(); !slices.Equal(k.GetPointSequence(), points) || k.GetBasis() != b.basis() {
		t.Errorf("all that apply: %v", k)
	}
	refused(t, apply(b.turned(fitted.GetRecordSequence())), codes.FailedPrecondition, "FOUND_ON_ANOTHER_CONVERSION", "")
	if again, err := b.fit(); err != nil || again.GetCalibration().GetShift() != nil {
		t.Errorf("held against a calibration on another conversion: %v, %v", again, err)
	}
	if err := apply(fitted.GetRecordSequence()); err != nil {
		t.Error(err)
	}
}

// TestRecordNamedTwice is refused: the same figure twice makes nothing surer.
func TestRecordNamedTwice(t *testing.T) {
	b := newBench(t)
	points := []uint64{b.point(0, 0.1).GetRecordSequence(), b.point(50, 50.1).GetRecordSequence()}
	_, err := b.FitCalibration(t.Context(), &ampledgerv1.FitCalibrationRequest{Conductor: "pack", Channel: "shunt", PointSequence: slices.Concat(points, points)})
	refused(t, err, codes.InvalidArgument, "RECORD_NAMED_TWICE", "point_sequence")
	z := b.zero(still(0.3), true).GetRecordSequence()
	_, err = b.FitZeroDrift(t.Context(), &ampledgerv1.FitZeroDriftRequest{Conductor: "pack", Channel: "shunt", ZeroSequence: []uint64{z, z}})
	refused(t, err, codes.InvalidArgument, "RECORD_NAMED_TWICE", "zero_sequence")
}

// TestTooManyRecords refuses a fit of more than 2000 points, named or not; pages of records keep to 1 MiB and leave none out.
func TestTooManyRecords(t *testing.T) {
	b := newBench(t)
	_, err := b.FitCalibration(t.Context(), &ampledgerv1.FitCalibrationRequest{Conductor: "pack", Channel: "shunt", PointSequence: make([]uint64, 2001)})
	refused(t, err, codes.InvalidArgument, "TOO_MANY_RECORDS", "point_sequence")
	note := strings.Repeat("x", 1000)
	for n := range 2001 {
		_, err := b.Store.AppendRecord(t.Context(), &ampledgerv1.CommissioningRecord{
			Conductor: "pack", Channel: "shunt", Note: note,
			Body: &ampledgerv1.CommissioningRecord_Point{Point: &ampledgerv1.CalibrationPoint{ReferenceAmperes: float64(n), ReferenceUncertaintyAmperes: 1, Basis: b.basis()}},
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	_, err = b.fit()
	refused(t, err, codes.InvalidArgument, "TOO_MANY_RECORDS", "point_sequence")
	var sizes []int
	for after, request := uint64(0), (&ampledgerv1.ListRecordsRequest{}); after < 2001; request.AfterSequence = after {
		page, err := b.ListRecords(t.Context(), request)
		if err != nil || len(page.GetRecords()) == 0 || proto.Size(page) > 1<<20+1<<14 {
			t.Fatalf("behind %d: %d records, %d bytes, %v", after, len(page.GetRecords()), proto.Size(page), err)
		}
		for _, r := range page.GetRecords() {
			if after++; r.GetRecordSequence() != after {
				t.Fatalf("record %d, want %d", r.GetRecordSequence(), after)
			}
		}
		sizes = append(sizes, len(page.GetRecords()))
	}
	if slices.Max(sizes) >= 1000 {
		t.Errorf("pages of %v records", sizes)
	}
}

// TestStatedUncertaintyStays: a change that says nothing of an uncertainty keeps what the one before stated, not the configuration's.
func TestStatedUncertaintyStays(t *testing.T) {
	b := newBench(t)
	stated := 0.07
	b.apply(&ampledgerv1.ApplyCalibrationRequest{RecordSequence: b.zero(still(0.3), true).GetRecordSequence(), Force: true, ZeroUncertaintyAmperes: &stated})
	after := b.apply(&ampledgerv1.ApplyCalibrationRequest{RecordSequence: b.zero(still(0.3), true).GetRecordSequence(), Force: true}).GetRecord().GetApplied().GetAfter()
	if math.Abs(after.GetZeroUncertaintyAmperes()-stated) > 0 {
		t.Errorf("stated from then on: %g A", after.GetZeroUncertaintyAmperes())
	}
}
