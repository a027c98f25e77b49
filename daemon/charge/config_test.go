package charge_test

import (
	"math"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/charge"
)

func TestConfigRefusesWhatCannotBound(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for name, test := range map[string]struct {
		config charge.Config
		faults int
	}{
		"complete":                         {charge.Config{GapNanos: 1, BoundAmperes: 1, SaturatedBoundAmperes: 2}, 0},
		"no limit by time":                 {charge.Config{BoundAmperes: 1, SaturatedBoundAmperes: 1}, 0},
		"nothing set":                      {charge.Config{}, 1},
		"negative gap":                     {charge.Config{GapNanos: -1, BoundAmperes: 1, SaturatedBoundAmperes: 1}, 1},
		"infinite bounds":                  {charge.Config{BoundAmperes: inf, SaturatedBoundAmperes: inf}, 2},
		"bounds not a number":              {charge.Config{BoundAmperes: nan, SaturatedBoundAmperes: nan}, 2},
		"saturated bound below the other":  {charge.Config{BoundAmperes: 2, SaturatedBoundAmperes: 1}, 1},
		"all of it, in one error":          {charge.Config{GapNanos: -1, BoundAmperes: -1, SaturatedBoundAmperes: -2}, 3},
		"saturated bound alone is missing": {charge.Config{BoundAmperes: 2}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := charge.New(test.config)
			if got := lines(err); got != test.faults {
				t.Errorf("%d faults, want %d: %v", got, test.faults, err)
			}
		})
	}
}

// lines counts the faults in an error, one a line.
func lines(err error) int {
	if err == nil {
		return 0
	}
	return strings.Count(err.Error(), "\n") + 1
}
