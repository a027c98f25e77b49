package daemon_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// outcome is all that an offline run gives.
type outcome struct {
	readings   map[string][]reading
	events     []*ampledgerv1.Event
	statements []*ampledgerv1.GetStatementResponse
}

// reading is one reading to the bit.
type reading struct {
	sequence              uint64
	time                  int64
	amperes, offset, zero uint64
	quality               scan.Quality
	generation            uint64
}

func processed(t *testing.T, text string) *outcome {
	t.Helper()
	c, _ := load(t, text)
	o := &outcome{readings: map[string][]reading{}}
	var err error
	o.statements, err = daemon.Process(t.Context(), c, options(t), daemon.Outputs{
		Readings: func(lane *pipeline.Lane, r *scan.Readings) error {
			for k, y := range r.Amperes {
				o.readings[lane.Name] = append(o.readings[lane.Name], reading{
					r.Sequence + uint64(k), r.At(k), math.Float64bits(y), math.Float64bits(r.Offset), math.Float64bits(r.ZeroAmperes), r.QualityAt(k), r.Generation,
				})
			}
			return nil
		},
		Event: func(e *ampledgerv1.Event) error {
			o.events = append(o.events, proto.CloneOf(e))
			return nil
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	return o
}

// offline is the rig of simulated, offline: irregular in nothing, with a rest, overloads and a saturating magnetic channel. An estimator that
// corrects the charge and wants hysteresis computed may take the place of the usual one, "fused" with the charge taken from both channels.
func offline(frameScans int, estimator string) string {
	text := simulated(20, "")
	if estimator == "fused" {
		estimator = "biasfilter"
		text = strings.Replace(text, "    estimator:", "    charge_from: fused\n    estimator:", 1)
	}
	if estimator == "biasfilter" {
		text = strings.Replace(text, "plugin: fixedzero, with: {minimum_rest_seconds: 0.5}",
			"plugin: biasfilter, with: {channels: {magnetic: {hysteresis_amperes: 0.5, zero_walk_amperes_per_root_hour: 0.1}}}", 1)
	}
	text = strings.Replace(text, "speed: 20", "speed: 0", 1)
	text = strings.Replace(text, "frame_scans: 250", fmt.Sprintf("frame_scans: %d", frameScans), 1)
	return strings.Replace(text, "offset_amperes: 1.1}", "offset_amperes: 1.1, maximum_volts: 2.72}", 1)
}

// TestFramesChangeNothing processes the same scans cut into frames of several sizes: the same readings to the last bit, the same events;
// the same charge to the microcoulomb that summing in another order may move.
func TestFramesChangeNothing(t *testing.T) {
	for _, estimator := range []string{"fixedzero", "biasfilter", "fused"} {
		want := processed(t, offline(1000, estimator))
		if len(want.events) == 0 || want.statements[0].GetAccounts()[1].GetOffsetMicrocoulombs() == 0 {
			t.Fatal("the run has no event or no offset: it shows nothing")
		}
		sizes := []int{1, 7, 100}
		if raced {
			sizes = sizes[1:2]
		}
		for _, scans := range sizes {
			t.Run(fmt.Sprintf("%s/%d", estimator, scans), func(t *testing.T) {
				got := processed(t, offline(scans, estimator))
				if diff := cmp.Diff(want.readings, got.readings, readingsOf(estimator)); diff != "" {
					t.Errorf("readings (-1000 +%d):\n%.2000s", scans, diff)
				}
				if diff := cmp.Diff(want.events, got.events, protocmp.Transform(), approximately); diff != "" {
					t.Errorf("events (-1000 +%d):\n%s", scans, diff)
				}
				if diff := cmp.Diff(want.statements, got.statements, protocmp.Transform(), approximately); diff != "" {
					t.Errorf("statements (-1000 +%d):\n%s", scans, diff)
				}
			})
		}
	}
}

// readingsOf compares readings to the bit; those of an estimator that sees integrals, which are summed in blocks of a batch, to 1e-12.
func readingsOf(estimator string) cmp.Option {
	if estimator == "fixedzero" {
		return cmp.AllowUnexported(reading{})
	}
	return cmp.Comparer(func(a, b reading) bool {
		same := a.sequence == b.sequence && a.time == b.time && a.quality == b.quality && a.generation == b.generation
		return same && near(a.amperes, b.amperes) && near(a.offset, b.offset) && near(a.zero, b.zero)
	})
}

func near(a, b uint64) bool {
	x, y := math.Float64frombits(a), math.Float64frombits(b)
	return x == y || math.Abs(x-y) <= 1e-12*math.Max(1, math.Max(math.Abs(x), math.Abs(y)))
}

// approximately lets sums differ by their rounding: 1e-12 relative, or a microcoulomb.
var approximately = cmp.Options{
	cmp.Comparer(func(a, b float64) bool { return a == b || math.Abs(a-b) <= 1e-12*math.Max(math.Abs(a), math.Abs(b)) }),
	cmp.FilterPath(func(p cmp.Path) bool { return strings.Contains(p.String(), "microcoulombs") },
		cmp.Comparer(func(a, b int64) bool { return a-b <= 1 && b-a <= 1 })),
}

// TestTheSameTwice processes the same input twice: the same to the last bit, in everything.
func TestTheSameTwice(t *testing.T) {
	a, b := processed(t, offline(333, "fused")), processed(t, offline(333, "fused"))
	if diff := cmp.Diff(a, b, cmp.AllowUnexported(outcome{}, reading{}), protocmp.Transform()); diff != "" {
		t.Errorf("two runs differ:\n%.2000s", diff)
	}
}

// TestWhatWasReadBeforeAFailureIsKept fails an output and a device midway.
func TestWhatWasReadBeforeAFailureIsKept(t *testing.T) {
	c, _ := load(t, offline(1000, "fixedzero"))
	frames := 0
	statements, err := daemon.Process(t.Context(), c, options(t), daemon.Outputs{Readings: func(*pipeline.Lane, *scan.Readings) error {
		if frames++; frames == 11 {
			return fmt.Errorf("disk is full")
		}
		return nil
	}})
	if err == nil || !strings.Contains(err.Error(), "disk is full") {
		t.Errorf("a failing output ended the run with %v", err)
	}
	if n := statements[0].GetAccounts()[0].GetReadingCount(); n == 0 || n == 20_000 {
		t.Errorf("%d readings are stated, some but not all should be", n)
	}
}
