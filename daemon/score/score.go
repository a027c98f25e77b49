package score

import "math"

// Run is what one run gave.
type Run struct {
	Conductor    string
	Truth        string
	ReadingCount uint64 // of the truth
	Seconds      float64
	TrueCoulombs float64 // that flowed out of the pack
	MissingCount uint64  // readings of the truth that could not be used
	Scores       []Score // of each way to find the offset, each channel
	Notes        []Note  // what these had to say, in the order in which each kind came up first
}

// Score is how one way to find the offset did on one channel. Errors are balance less truth.
type Score struct {
	Channel   string
	Estimator string

	// At the end, or at the newest reading that counted.
	ErrorCoulombs       float64
	UncertaintyCoulombs float64 // the standard uncertainty stated
	HalfWidthCoulombs   float64 // of the 95 % interval stated

	WorstCoulombs  float64 // the largest error of all checkpoints
	WorstAtSeconds float64
	WorstRatio     float64 // the largest error as a share of the uncertainty stated then; infinite if none was

	CheckpointCount int
	CoveredCount    int     // checkpoints at which the 95 % interval held the truth
	MeanSquareRatio float64 // mean of the squared error as a share of the variance stated; infinite if none was

	RMSAmperes       float64 // of reading less true current
	OffsetKnown      bool    // the next is
	RMSOffsetAmperes float64 // of offset subtracted less true offset

	Trace []Point // thinned out
}

// Point is one checkpoint.
type Point struct {
	Seconds                  float64
	ErrorCoulombs            float64
	HalfWidthCoulombs        float64
	TrueOffsetAmperes        float64 // NaN = not known
	OffsetAmperes            float64 // subtracted
	OffsetUncertaintyAmperes float64 // standard
}

// Covered tells whether the 95 % interval at the end holds the truth.
func (s *Score) Covered() bool { return covered(s.ErrorCoulombs, s.HalfWidthCoulombs) }

// Ratio gives the error at the end as a share of the standard uncertainty stated.
func (s *Score) Ratio() float64 { return ratio(s.ErrorCoulombs, s.UncertaintyCoulombs) }

func covered(coulombs, halfWidth float64) bool { return math.Abs(coulombs) <= halfWidth }

// ratio is infinite where an error is stated to be impossible.
func ratio(coulombs, uncertainty float64) float64 {
	if coulombs == 0 {
		return 0
	}
	return coulombs / uncertainty
}

// mostPoints bounds a trace.
const mostPoints = 2048

// trace keeps every stride-th point.
type trace struct {
	points []Point
	stride int
	seen   int
}

// add takes a point in; when the trace is full, every second one goes.
func (t *trace) add(p Point) {
	t.stride = max(t.stride, 1)
	if t.seen%t.stride == 0 {
		if len(t.points) == mostPoints {
			for i := range mostPoints / 2 {
				t.points[i] = t.points[2*i]
			}
			t.points = t.points[:mostPoints/2]
			t.stride *= 2
		}
		t.points = append(t.points, p)
	}
	t.seen++
}
