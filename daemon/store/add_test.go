package store

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestAddAddsEveryField adds totals whose every field is a number of its own to themselves.
func TestAddAddsEveryField(t *testing.T) {
	numbered := func(factor int) (totals Totals) {
		for i, field := range totals.fields() {
			switch value := field.(type) {
			case *int64:
				*value = int64(factor * (i + 1))
			case *uint64:
				*value = uint64(factor * (i + 1))
			case *float64:
				*value = float64(factor * (i + 1))
			default:
				t.Fatalf("field %d is a %T", i, field)
			}
		}
		return totals
	}
	got := numbered(1)
	got.Add(numbered(2))
	if diff := cmp.Diff(numbered(3), got); diff != "" {
		t.Errorf("sum (-want +got):\n%s", diff)
	}
}
