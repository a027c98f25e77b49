package biasfilter

import (
	"testing"
)

// FuzzRestore hands anything over as a snapshot: it is refused, or the estimator goes on with figures that are ones.
func FuzzRestore(f *testing.F) {
	s := couple(f)
	for _, to := range []int{0, 90} {
		course(s, 0, to)
		state, err := s.Snapshot()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(state)
	}
	f.Add([]byte(`{"format":"biasfilter/1","states":["\"main\" zero"],"mean":[1e300],"covariance":[1e300],"channels":{"main":{}}}`))
	f.Add([]byte(`{"format":"biasfilter/1","channels":{"main":{"regressors":[1e300,1],"age_seconds":1e300}}}`))
	f.Fuzz(func(t *testing.T, state []byte) {
		s := couple(t)
		if s.Restore(state) != nil {
			return
		}
		for k := range 100 {
			rest := restNone
			if k > 50 {
				rest = restCertain
			}
			s.next(rest, 0.3)
			if !finite(s.last.GetOffsetAmperes()) || !(s.last.GetStandardUncertaintyAmperes() >= 0) || !(s.last.GetCorrectionUncertaintyCoulombs() >= 0) {
				t.Fatalf("after a snapshot that was taken: %v", s.last)
			}
		}
		if _, err := s.Snapshot(); err != nil {
			t.Fatal(err)
		}
	})
}
