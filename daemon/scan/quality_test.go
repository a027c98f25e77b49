package scan_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func TestQualityNames(t *testing.T) {
	for q, want := range map[scan.Quality]string{
		0:                     "good",
		scan.Missing:          "missing",
		scan.NotFinite:        "not finite",
		scan.Saturated:        "saturated",
		scan.OutOfRange:       "out of range",
		scan.TimeRepeated:     "time repeated",
		scan.TimeBackwards:    "time backwards",
		scan.AuxiliaryMissing: "supply or temperature missing",
		scan.TimeRepeated | scan.Saturated | scan.Missing: "missing, saturated, time repeated",
	} {
		if q.String() != want {
			t.Errorf("%08b is %q, want %q", q, q, want)
		}
	}
	if diff := cmp.Diff([]string{"before", "saturated"}, scan.Saturated.Names([]string{"before"})); diff != "" {
		t.Error(diff)
	}
}

// Causes has every bit once, in order, and they are those of the wire.
func TestCausesAreTheBitsOfTheWire(t *testing.T) {
	for i, cause := range scan.Causes {
		if cause != 1<<i {
			t.Errorf("cause %d is %08b", i, cause)
		}
		if _, known := ampledgerv1.Quality_name[int32(cause)]; !known {
			t.Errorf("%v is no bit of ampledger.v1.Quality", cause)
		}
	}
	if wire := len(ampledgerv1.Quality_name) - 1; wire != len(scan.Causes) { // beside UNSPECIFIED
		t.Errorf("%d bits on the wire, %d causes", wire, len(scan.Causes))
	}
}

func TestReadingsAccessors(t *testing.T) {
	r := scan.Readings{Clock: scan.Clock{Period: 1}, Amperes: []float64{1, 2}, Usable: 2}
	if r.Len() != 2 || !r.Regular() || r.QualityAt(1) != 0 {
		t.Errorf("%+v", r)
	}
	r.Quality, r.Usable = []scan.Quality{0, scan.Missing}, 1
	if r.Regular() || r.QualityAt(0) != 0 || r.QualityAt(1) != scan.Missing {
		t.Errorf("%+v", r)
	}
	r.Usable, r.Period = 2, 0
	if r.Regular() {
		t.Error("irregular times are regular")
	}
}
