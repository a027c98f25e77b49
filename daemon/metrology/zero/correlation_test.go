package zero

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/referencetest"
)

// Lag-1 autocorrelations of NIST StRD, univariate sets with observed data, as certified.
func TestCertifiedAutocorrelation(t *testing.T) {
	sets := map[string][]float64{}
	for _, row := range referencetest.Table(t, "reference/nist_univariate_data.csv") {
		sets[row["dataset"]] = append(sets[row["dataset"]], referencetest.Number(t, row["value"]))
	}
	compared := 0
	for _, row := range referencetest.Table(t, "reference/nist_univariate.csv") {
		y := sets[row["dataset"]]
		if len(y) == 0 {
			continue
		}
		compared++
		distances := about(y, mean(y))
		got, want := lagged(distances, 1)/lagged(distances, 0), referencetest.Number(t, row["r1"])
		if math.Abs(got-want) > 1e-11*math.Abs(want) {
			t.Errorf("%s: %.15g, certified %.15g", row["dataset"], got, want)
		}
	}
	if compared < 4 {
		t.Errorf("%d sets compared", compared)
	}
}

// Smirnov's table (Annals of Mathematical Statistics 19 (1948) 279; the points stand in every table of the distribution; from memory).
func TestKolmogorovTable(t *testing.T) {
	for x, want := range map[float64]float64{0: 1, 0.1: 1, 0.5: 0.9639, 1.224: 0.1, 1.358: 0.05, 1.628: 0.01, 1.949: 0.001} {
		if got := kolmogorov(x); math.Abs(got-want) > 0.004*want {
			t.Errorf("P(%g) is %g, want %g", x, got, want)
		}
	}
}
