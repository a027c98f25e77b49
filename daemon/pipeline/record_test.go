package pipeline

import (
	"context"
	"math"
	"testing"
	"testing/synctest"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/daemon/comparison"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/plugin"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestWhatEstimatorsSayIsTold: each answer of the one in force and of each shadow is a record; one in five seconds is to be kept, the same
// summaries of all of them; what a candidate says while it is warmed up is not told.
func TestWhatEstimatorsSayIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := liveAs(t, j, starts{"beside": always(fixed(3))}, ConductorConfig{Opening: 9})
		_, err := c.AddShadow(t.Context(), "mine", named("beside"), func(Progress) {})
		check(t, err)
		steadily(t, c, 1)
		of := map[string][]uint64{}
		kept := map[string][]uint64{}
		for _, r := range j.records {
			of[r.GetShadow()] = append(of[r.GetShadow()], r.GetThroughSequence())
		}
		for _, r := range j.recorded {
			kept[r.GetShadow()] = append(kept[r.GetShadow()], r.GetThroughSequence())
		}
		wantOf := map[string][]uint64{"": {9, 19, 29, 39, 49, 59, 69, 79, 89, 99, 109}, "mine": {19, 29, 39, 49, 59, 69, 79, 89, 99, 109}}
		wantKept := map[string][]uint64{"": {9, 59, 109}, "mine": {59, 109}}
		if diff := cmp.Diff(wantOf, of); diff != "" {
			t.Errorf("told (-want +got):\n%s", diff)
		}
		if diff := cmp.Diff(wantKept, kept); diff != "" {
			t.Errorf("to be kept (-want +got):\n%s", diff)
		}
		var last *comparison.Record
		for _, r := range j.records {
			if r.GetShadow() == "mine" {
				last = r
			}
		}
		// Over ten summaries of a second, all but the first, it would have subtracted 3 A where 1 A was; between the last scan without an offset
		// and the first with one, 0.1 s, only half of that was.
		want := &comparison.Record{
			Conductor: "pack", Shadow: "mine", Plugin: "beside", Generation: 2, OpeningSequence: 9, Device: "dev", ThroughSequence: 109, WallNanos: 10.9e9,
			Channels: []*ampledgerv1.ChannelRecord{{
				Channel: "meter", OffsetKnown: true, OffsetAmperes: 3, StandardUncertaintyAmperes: 0.1, ChargeChangeCoulombs: -20.05, ChargeUncertaintyCoulombs: 1,
			}},
		}
		if diff := cmp.Diff(want, last, protocmp.Transform(), protocmp.IgnoreFields(want, "latency_nanos"), near); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
	})
}

var near = cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-9 })

// TestInnovations: in a rest a record says how far the mean reading was off what had been known, against the uncertainty of both, aged.
func TestInnovations(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, walking := &journal{}, fixed(0)
		walking.do = func(context.Context, *plugin.Summary) (*plugin.Answer, error) {
			return &plugin.Answer{Channels: []*plugin.ChannelEstimate{{
				Name: "meter", OffsetAmperes: 1, StandardUncertaintyAmperes: 3, WalkAmperesPerRootSecond: 4,
			}}}, nil
		}
		c := live(t, j, starts{"old": always(walking)})
		c.Apply(t.Context(), "dev", frame(10, 1.5, 10, 0)) // no rest
		synctest.Wait()
		c.Apply(t.Context(), "dev", frame(20, 1.5, 10, 1))
		synctest.Wait()
		for k, want := range []*float64{nil, nil, new(float64)} {
			of := j.records[k].GetChannels()[0]
			if (of.InnovationAmperes == nil) != (want == nil) || j.records[k].GetRest() != (want != nil) {
				t.Errorf("record %d: %v", k, j.records[k])
			}
		}
		of := j.records[2].GetChannels()[0]
		if math.Abs(of.GetInnovationAmperes()-0.5) > 1e-12 || math.Abs(of.GetInnovationUncertaintyAmperes()-5) > 1e-6 { // 3² + 4²·1 s = 5²
			t.Errorf("in the rest: %v", of)
		}
	})
}

// deriving answers with a state of charge that counts its summaries.
func deriving() (*observer, Started) {
	o := fixed(1)
	count := 0.0
	o.do = func(context.Context, *plugin.Summary) (*plugin.Answer, error) {
		count++
		return &plugin.Answer{Outputs: []*plugin.OutputValue{{Name: "state_of_charge", Value: count / 100, UncertaintyValue: 0.01}}}, nil
	}
	return o, Started{Observer: o, Method: "by test", Outputs: []*plugin.Output{{Name: "state_of_charge", Unit: "1"}}}
}

// TestDerivedQuantitiesTouchNothing: an estimator that gives no offset changes no reading; what it derives is told, listed and compared.
func TestDerivedQuantitiesTouchNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, s := &journal{}, starts{}
		_, started := deriving()
		s["old"] = always(fixed(1))
		start := func(ctx context.Context, c Candidate, p plugin.Conductor, kept pluginhost.Kept, reached func(Step)) (Started, error) {
			if c.Program.Shipped == "charge" {
				return started, nil
			}
			return s.start(ctx, c, p, kept, reached)
		}
		c := newConductor(t, j, ConductorConfig{Start: start, Expected: true})
		defer c.Close()
		check(t, c.Begin(t.Context(), named("old")))
		check(t, c.BeginShadow(t.Context(), "soc", named("charge")))
		c.Apply(t.Context(), "dev", frame(0, 10, 10, 0))
		synctest.Wait()
		steadily(t, c, 1)
		if last := j.frames[len(j.frames)-1]; last.Offset != 1 || last.Estimator != "old" {
			t.Errorf("in force is %+v", last)
		}
		want := []*ampledgerv1.DerivedValue{{Name: "state_of_charge", Unit: "1", Value: 0.11, UncertaintyValue: 0.01}}
		names, all := c.Shadows()
		if diff := cmp.Diff(want, all[0].Outputs, protocmp.Transform(), near); diff != "" || names[0] != "soc" {
			t.Errorf("listed (-want +got):\n%s", diff)
		}
		compared := c.Compare(math.MinInt64, math.MaxInt64)[1]
		if len(compared.Channels) != 0 || len(compared.Outputs) != 1 || compared.Outputs[0].GetNewest().GetValue() != 0.11 {
			t.Errorf("compared %+v", compared)
		}
	})
}

// TestFullRate: an estimator that wants readings gets those of each scan as they were read, before any offset; others get none.
func TestFullRate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, plain, whole := &journal{}, fixed(1), fixed(3)
		start := func(_ context.Context, c Candidate, _ plugin.Conductor, _ pluginhost.Kept, _ func(Step)) (Started, error) {
			if c.Program.Shipped == "whole" {
				return Started{Observer: whole, WantsReadings: true}, nil
			}
			return Started{Observer: plain}, nil
		}
		c := newConductor(t, j, ConductorConfig{Start: start, Expected: true})
		defer c.Close()
		check(t, c.Begin(t.Context(), named("plain")))
		c.Apply(t.Context(), "dev", frame(0, 10, 10, 0))
		synctest.Wait()
		_, err := c.AddShadow(t.Context(), "mine", named("whole"), func(Progress) {})
		check(t, err)
		f := frame(10, 10, 10, 0)
		f.Columns[0].Values[3], f.Columns[0].Values[4] = 12, math.NaN()
		c.Apply(t.Context(), "dev", f)
		synctest.Wait()
		first, second := whole.seen()[0], whole.seen()[1]
		if len(first.GetScanOffsetNanos()) != 0 || len(first.GetChannels()[0].GetReadingAmperes()) != 0 {
			t.Errorf("of a summary from before it was there it got %v", first)
		}
		want := []float64{10, 10, 10, 12, math.NaN(), 10, 10, 10, 10, 10}
		same := cmp.Comparer(func(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) || a != a && b != b })
		if diff := cmp.Diff(want, second.GetChannels()[0].GetReadingAmperes(), same); diff != "" {
			t.Errorf("readings (-want +got):\n%s", diff)
		}
		if offsets := second.GetScanOffsetNanos(); len(offsets) != 10 || offsets[0] != 0 || offsets[9] != 9e8 {
			t.Errorf("times %v", offsets)
		}
		for _, s := range plain.seen() {
			if len(s.GetChannels()[0].GetReadingAmperes()) != 0 {
				t.Error("who wants none got readings")
			}
		}
	})
}

// TestReadingsRetainedAreBounded: of the summaries that are retained only the newest keep theirs.
func TestReadingsRetainedAreBounded(t *testing.T) {
	e := &estimation{}
	lane := &Lane{}
	const scans = mostReadings / 4
	for k := range 6 {
		full := &fullRate{offsets: make([]int64, scans), amperes: map[*Lane][]float64{lane: nil}}
		e.retain(&item{number: uint64(k), full: full})
	}
	for k, each := range e.retained {
		if has := each.full != nil; has != (k >= 2) {
			t.Errorf("summary %d has readings: %v", k, has)
		}
	}
}

// TestShadowsOfTheConfigurationAreKept: their state is asked for beside that of the one in force, and handed over at the next start.
func TestShadowsOfTheConfigurationAreKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := live(t, j, starts{"beside": always(fixed(3)), "passing": always(fixed(4))})
		check(t, c.BeginShadow(t.Context(), "mine", named("beside")))
		_, err := c.AddShadow(t.Context(), "other", named("passing"), func(Progress) {})
		check(t, err)
		steadily(t, c, 1)
		c.Post(t.Context())
		newest := map[string]*Kept{}
		for _, kept := range j.kept {
			newest[kept.Shadow+" "+kept.Plugin] = kept
		}
		if len(newest) != 2 || newest[" old"] == nil || newest["mine beside"] == nil {
			t.Fatalf("kept of %v", newest)
		}
		again := fixed(3)
		next := newConductor(t, &journal{}, ConductorConfig{Start: starts{"beside": always(again)}.start})
		defer next.Close()
		next.Restore(newest["mine beside"])
		check(t, next.BeginShadow(t.Context(), "mine", named("beside")))
		if string(again.kept.State) != "state" {
			t.Errorf("it was started with %+v", again.kept)
		}
	})
}
