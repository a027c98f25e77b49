package service_test

import (
	"context"
	"math"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/service/servicetest"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// bench is a rig through which a current flows that is known.
type bench struct {
	*servicetest.Rig
	ampledgerv1.CommissioningServiceClient
	t *testing.T
}

func newBench(t *testing.T) *bench {
	rig := servicetest.New(t, servicetest.Retained)
	return &bench{rig, ampledgerv1.NewCommissioningServiceClient(rig.Connect()), t}
}

// fed runs a call while scans of a current come, with 10 mA to either side in turn: whole summaries give the same verdict wherever the window lies.
func fed[M any](b *bench, amperes func(scan int) float64, call func(context.Context) (M, error)) (answer M, err error) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		answer, err = call(b.t.Context())
	}()
	for n := 0; ; n += 10 {
		select {
		case <-done:
			return answer, err
		default:
			scans := make([]float64, 10)
			for k := range scans {
				scans[k] = amperes(n+k) + 0.01*float64(1-2*(k%2))
			}
			b.FeedAmperes("adc0", scans...)
		}
	}
}

func still(amperes float64) func(int) float64 { return func(int) float64 { return amperes } }

func (b *bench) zero(amperes func(int) float64, force bool) *ampledgerv1.ChannelZero {
	b.t.Helper()
	response, err := fed(b, amperes, func(ctx context.Context) (*ampledgerv1.CaptureZeroResponse, error) {
		return b.CaptureZero(ctx, &ampledgerv1.CaptureZeroRequest{Conductor: "pack", DurationNanos: 30e9, By: "A. Meter", Note: "lugs off", Force: force})
	})
	if err != nil {
		b.t.Fatal(err)
	}
	return response.GetChannels()[0]
}

func (b *bench) apply(request *ampledgerv1.ApplyCalibrationRequest) *ampledgerv1.ApplyCalibrationResponse {
	b.t.Helper()
	applied, err := b.ApplyCalibration(b.t.Context(), request)
	if err != nil {
		b.t.Fatal(err)
	}
	return applied
}

// point measures a point live at a current that flows; the channel shows offset + gain times as much.
func (b *bench) point(amperes, shows float64) *ampledgerv1.CommissioningRecord {
	b.t.Helper()
	response, err := fed(b, still(shows), func(ctx context.Context) (*ampledgerv1.AddCalibrationPointResponse, error) {
		return b.AddCalibrationPoint(ctx, &ampledgerv1.AddCalibrationPointRequest{
			Conductor: "pack", Channel: "shunt", ReferenceAmperes: &amperes, ReferenceUncertaintyAmperes: 0.005, DurationNanos: 5e9, By: "A. Meter",
		})
	})
	if err != nil {
		b.t.Fatal(err)
	}
	return response.GetRecord()
}

// basis is how the shunt is converted.
func (b *bench) basis() string {
	b.t.Helper()
	basis, err := b.Conductor("pack").Basis("shunt")
	if err != nil {
		b.t.Fatal(err)
	}
	return basis
}

// stated says a point that was read elsewhere.
func (b *bench) stated(amperes, shows float64) error {
	_, err := b.AddCalibrationPoint(b.t.Context(), &ampledgerv1.AddCalibrationPointRequest{
		Conductor: "pack", Channel: "shunt", ReferenceAmperes: &amperes, ReferenceUncertaintyAmperes: 0.01, IndicatedAmperes: &shows,
	})
	return err
}

func (b *bench) fit() (*ampledgerv1.CommissioningRecord, error) {
	response, err := b.FitCalibration(b.t.Context(), &ampledgerv1.FitCalibrationRequest{Conductor: "pack", Channel: "shunt", CommonGainRatio: 1e-4, Instrument: "meter 7"})
	return response.GetRecord(), err
}

// changes gives the ledger's entries of changes.
func (b *bench) changes() (reasons []string) {
	b.t.Helper()
	b.Flush()
	entries, err := b.Store.Entries(b.t.Context(), 0, store.Filter{Channel: "shunt", Kinds: []store.Kind{store.Commissioned}}, 100)
	if err != nil {
		b.t.Fatal(err)
	}
	for _, e := range entries {
		reasons = append(reasons, e.Reason)
	}
	return reasons
}

// TestZeroAppliedAndReverted finds a zero of 0.3 A, applies it, finds none any more, and takes it back.
func TestZeroAppliedAndReverted(t *testing.T) {
	b := newBench(t)
	z := b.zero(still(0.3), false)
	if found := z.GetFound(); z.GetRecordSequence() == 0 || !found.GetSteady() || math.Abs(found.GetMeanAmperes()-0.3) > 0.01 ||
		found.GetStandardUncertaintyAmperes() > 0.002 || found.GetReadingCount() < 280 || found.GetEffectiveCount() < 100 {
		t.Fatalf("zero: %v", z)
	}
	applied := b.apply(&ampledgerv1.ApplyCalibrationRequest{RecordSequence: z.GetRecordSequence(), By: "A. Meter"})
	if applied.GetFromSequence() != b.Next("adc0") || b.Conductor("pack").InForce("shunt") != applied.GetRecord().GetRecordSequence() {
		t.Errorf("applied: %v", applied)
	}
	if got := b.zero(still(0.3), false).GetFound(); math.Abs(got.GetMeanAmperes()) > 0.01 || got.GetInForceSequence() != applied.GetRecord().GetRecordSequence() {
		t.Errorf("the zero that is left: %v", got)
	}
	_, err := b.ApplyCalibration(t.Context(), &ampledgerv1.ApplyCalibrationRequest{RecordSequence: z.GetRecordSequence()})
	refused(t, err, codes.FailedPrecondition, "FOUND_BEFORE_A_CHANGE", "")
	reverted, err := b.RevertCalibration(t.Context(), &ampledgerv1.RevertCalibrationRequest{Conductor: "pack", Channel: "shunt", By: "B. Meter"})
	if err != nil || b.Conductor("pack").InForce("shunt") != 0 {
		t.Fatalf("reverted: %v, %v", reverted, err)
	}
	if got := b.zero(still(0.3), false).GetFound(); math.Abs(got.GetMeanAmperes()-0.3) > 0.01 || got.GetInForceSequence() != 0 {
		t.Errorf("the zero that is back: %v", got)
	}
	_, err = b.RevertCalibration(t.Context(), &ampledgerv1.RevertCalibrationRequest{Conductor: "pack", Channel: "shunt"})
	refused(t, err, codes.FailedPrecondition, "NOTHING_IN_FORCE", "")
	changes := b.changes()
	if len(changes) != 2 || !strings.HasPrefix(changes[0], store.RecordName(applied.GetRecord())+": zero of record") || !strings.HasPrefix(changes[1], store.RecordName(reverted.GetRecord())+": change of record") {
		t.Errorf("the ledger says %q", changes)
	}
}

// TestUnsteadyZero refuses a rest with a step in it, and keeps it when it is forced to, which stays visible.
func TestUnsteadyZero(t *testing.T) {
	b := newBench(t)
	stepping := func(scan int) float64 {
		if scan/200%2 == 0 { // in each window at least one
			return 0.3
		}
		return 0.5
	}
	if z := b.zero(stepping, false); z.GetRecordSequence() != 0 || z.GetRefusal() == "" {
		t.Errorf("a step: %v", z)
	}
	z := b.zero(stepping, true)
	if z.GetRecordSequence() == 0 || !z.GetFound().GetForced() || z.GetFound().GetSteady() || z.GetRefusal() != "" {
		t.Fatalf("forced: %v", z)
	}
	_, err := b.ApplyCalibration(t.Context(), &ampledgerv1.ApplyCalibrationRequest{RecordSequence: z.GetRecordSequence()})
	refused(t, err, codes.FailedPrecondition, "VERDICT_AGAINST", "")
	b.apply(&ampledgerv1.ApplyCalibrationRequest{RecordSequence: z.GetRecordSequence(), Force: true})
}

// TestCalibrationLive finds and corrects a gain of 1.02 and an offset of −0.4 A from points measured live; a second calibration finds nothing left, and that it is
// the same channel as before.
func TestCalibrationLive(t *testing.T) {
	b := newBench(t)
	for _, amperes := range []float64{-50, 0, 50, 90} {
		p := b.point(amperes, -0.4+1.02*amperes).GetPoint()
		if math.Abs(p.GetIndicatedAmperes()-(-0.4+1.02*amperes)) > 0.01 || p.GetReadingCount() < 20 || p.GetIndicatedUncertaintyAmperes() > 0.01 {
			t.Errorf("point: %v", p)
		}
	}
	first, err := b.fit()
	if err != nil {
		t.Fatal(err)
	}
	k := first.GetCalibration()
	if math.Abs(k.GetGainRatio()-1.02) > 4*k.GetGainUncertaintyRatio() || math.Abs(k.GetOffsetAmperes()+0.4) > 4*k.GetOffsetUncertaintyAmperes() ||
		k.GetGainUncertaintyRatio() < 1e-4 || k.GetGainUncertaintyRatio() > 1e-3 || len(k.GetPointSequence()) != 4 || k.GetShift() != nil || len(k.GetPredicted()) != 11 {
		t.Errorf("calibration: %v", k)
	}
	u := 2 * k.GetGainUncertaintyRatio()
	b.apply(&ampledgerv1.ApplyCalibrationRequest{RecordSequence: first.GetRecordSequence(), GainUncertaintyRatio: &u, ExpiresWallNanos: math.MaxInt64})
	if _, err := b.fit(); err == nil {
		t.Error("points of before the change made a calibration")
	}
	_, err = b.FitCalibration(t.Context(), &ampledgerv1.FitCalibrationRequest{Conductor: "pack", Channel: "shunt", PointSequence: k.GetPointSequence()})
	refused(t, err, codes.InvalidArgument, "FOUND_BEFORE_A_CHANGE", "point_sequence")
	for _, amperes := range []float64{-50, 50, 90} {
		b.point(amperes, -0.4+1.02*amperes)
	}
	second, err := b.fit()
	if err != nil {
		t.Fatal(err)
	}
	left := second.GetCalibration()
	if math.Abs(left.GetGainRatio()-1) > 5*left.GetGainUncertaintyRatio() || left.GetShift().GetPreviousSequence() != first.GetRecordSequence() ||
		math.Abs(left.GetShift().GetGainDeviationRatio()) > 4 || math.Abs(left.GetShift().GetGainRatio()) > 1e-3 {
		t.Errorf("the second: %v", left)
	}
	records, err := b.ListRecords(t.Context(), &ampledgerv1.ListRecordsRequest{Conductor: "pack", AfterSequence: first.GetRecordSequence()})
	if err != nil || len(records.GetRecords()) != 5 || records.GetRecords()[0].GetApplied().GetAfter().GetGainUncertaintyRatio() != u {
		t.Errorf("records: %v, %v", records, err)
	}
}

// TestCalibrationAgainstAChannel takes the other channel, which reads the same, for the reference, with what it states of itself as common to all points.
func TestCalibrationAgainstAChannel(t *testing.T) {
	b := newBench(t)
	for _, amperes := range []float64{0, 80} {
		response, err := fed(b, still(amperes), func(ctx context.Context) (*ampledgerv1.AddCalibrationPointResponse, error) {
			return b.AddCalibrationPoint(ctx, &ampledgerv1.AddCalibrationPointRequest{Conductor: "pack", Channel: "shunt", ReferenceChannel: "hall", DurationNanos: 5e9})
		})
		if err != nil {
			t.Fatal(err)
		}
		p := response.GetRecord().GetPoint()
		if p.GetReferenceAmperes() != p.GetIndicatedAmperes() || p.GetCommonGainRatio() != 0.001 || p.GetCommonOffsetAmperes() != 0.01 || !(p.GetReferenceUncertaintyAmperes() > 0) {
			t.Errorf("point: %v", p)
		}
	}
	record, err := b.fit()
	if k := record.GetCalibration(); err != nil || math.Abs(k.GetGainRatio()-1) > 1e-9 || k.GetGainUncertaintyRatio() < 0.001 {
		t.Errorf("calibration: %v, %v", k, err)
	}
}

// TestZeroDriftNeedsTemperatures, which the channel does not have.
func TestZeroDriftNeedsTemperatures(t *testing.T) {
	b := newBench(t)
	b.zero(still(0.3), false)
	_, err := b.FitZeroDrift(t.Context(), &ampledgerv1.FitZeroDriftRequest{Conductor: "pack", Channel: "shunt"})
	refused(t, err, codes.InvalidArgument, "NO_DRIFT", "zero_sequence")
}

// TestCommissioningRefused tries what is no point, no calibration and no change.
func TestCommissioningRefused(t *testing.T) {
	b := newBench(t)
	reference, indicated, nan := 10.0, 10.1, math.NaN()
	point := func(change func(*ampledgerv1.AddCalibrationPointRequest)) error {
		request := &ampledgerv1.AddCalibrationPointRequest{
			Conductor: "pack", Channel: "shunt", ReferenceAmperes: &reference, ReferenceUncertaintyAmperes: 0.01, IndicatedAmperes: &indicated,
		}
		change(request)
		_, err := b.AddCalibrationPoint(t.Context(), request)
		return err
	}
	fit := func(change func(*ampledgerv1.FitCalibrationRequest)) error {
		request := &ampledgerv1.FitCalibrationRequest{Conductor: "pack", Channel: "shunt"}
		change(request)
		_, err := b.FitCalibration(t.Context(), request)
		return err
	}
	apply := func(change func(*ampledgerv1.ApplyCalibrationRequest)) error {
		request := &ampledgerv1.ApplyCalibrationRequest{RecordSequence: 1}
		change(request)
		_, err := b.ApplyCalibration(t.Context(), request)
		return err
	}
	long, minus := strings.Repeat("x", 1001), -1.0
	for name, c := range map[string]struct {
		err           error
		code          codes.Code
		reason, field string
	}{
		"point: no such conductor":  {point(func(r *ampledgerv1.AddCalibrationPointRequest) { r.Conductor = "other" }), codes.NotFound, "CONDUCTOR_UNKNOWN", ""},
		"point: no such channel":    {point(func(r *ampledgerv1.AddCalibrationPointRequest) { r.Channel = "other" }), codes.NotFound, "CHANNEL_UNKNOWN", ""},
		"point: no uncertainty":     {point(func(r *ampledgerv1.AddCalibrationPointRequest) { r.ReferenceUncertaintyAmperes = 0 }), codes.InvalidArgument, "UNCERTAINTY_NOT_POSITIVE", "reference_uncertainty_amperes"},
		"point: uncertainty of NaN": {point(func(r *ampledgerv1.AddCalibrationPointRequest) { r.ReferenceUncertaintyAmperes = nan }), codes.InvalidArgument, "UNCERTAINTY_NOT_POSITIVE", "reference_uncertainty_amperes"},
		"point: reference of NaN":   {point(func(r *ampledgerv1.AddCalibrationPointRequest) { r.ReferenceAmperes = &nan }), codes.InvalidArgument, "NOT_FINITE", "reference_amperes"},
		"point: indication of NaN":  {point(func(r *ampledgerv1.AddCalibrationPointRequest) { r.IndicatedAmperes = &nan }), codes.InvalidArgument, "NOT_FINITE", "indicated_amperes"},
		"point: no reference":       {point(func(r *ampledgerv1.AddCalibrationPointRequest) { r.ReferenceAmperes = nil }), codes.InvalidArgument, "REFERENCE_MISSING", "reference_amperes"},
		"point: two references":     {point(func(r *ampledgerv1.AddCalibrationPointRequest) { r.ReferenceChannel = "hall" }), codes.InvalidArgument, "REFERENCE_MISSING", "reference_amperes"},
		"point: its own reference": {point(func(r *ampledgerv1.AddCalibrationPointRequest) {
			r.ReferenceAmperes, r.IndicatedAmperes, r.ReferenceChannel, r.DurationNanos = nil, nil, "shunt", 1
		}), codes.InvalidArgument, "REFERENCE_IS_CHANNEL", "reference_channel"},
		"point: measured for no time":     {point(func(r *ampledgerv1.AddCalibrationPointRequest) { r.IndicatedAmperes = nil }), codes.InvalidArgument, "DURATION_OUT_OF_RANGE", "duration_nanos"},
		"point: a long note":              {point(func(r *ampledgerv1.AddCalibrationPointRequest) { r.Note = long }), codes.InvalidArgument, "TOO_LONG", "note"},
		"fit: one point":                  {fit(func(*ampledgerv1.FitCalibrationRequest) {}), codes.InvalidArgument, "NO_CALIBRATION", "point_sequence"},
		"fit: degree 4":                   {fit(func(r *ampledgerv1.FitCalibrationRequest) { r.DegreeCount = 4 }), codes.InvalidArgument, "DEGREE_OUT_OF_RANGE", "degree_count"},
		"fit: a record that is not there": {fit(func(r *ampledgerv1.FitCalibrationRequest) { r.PointSequence = []uint64{99} }), codes.NotFound, "RECORD_UNKNOWN", ""},
		"apply: not there":                {apply(func(r *ampledgerv1.ApplyCalibrationRequest) { r.RecordSequence = 99 }), codes.NotFound, "RECORD_UNKNOWN", ""},
		"apply: below 0":                  {apply(func(r *ampledgerv1.ApplyCalibrationRequest) { r.ZeroUncertaintyAmperes = &minus }), codes.InvalidArgument, "UNCERTAINTY_NEGATIVE", "zero_uncertainty_amperes"},
		"apply: expired":                  {apply(func(r *ampledgerv1.ApplyCalibrationRequest) { r.ExpiresWallNanos = 1 }), codes.InvalidArgument, "EXPIRED", "expires_wall_nanos"},
	} {
		t.Run(name, func(t *testing.T) { refused(t, c.err, c.code, c.reason, c.field) })
	}
}

// TestWhatIsNoMatterOfCalibration is refused: a sign, and, unless forced, a gain; nor is a point applied, or less stated than was found.
func TestWhatIsNoMatterOfCalibration(t *testing.T) {
	b := newBench(t)
	calibrated := func(gain float64) uint64 {
		t.Helper()
		var points []uint64
		for _, amperes := range []float64{0, 50, 100} {
			if err := b.stated(amperes, gain*amperes); err != nil {
				t.Fatal(err)
			}
		}
		records, err := b.ListRecords(t.Context(), &ampledgerv1.ListRecordsRequest{})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range records.GetRecords()[len(records.GetRecords())-3:] {
			points = append(points, r.GetRecordSequence())
		}
		response, err := b.FitCalibration(t.Context(), &ampledgerv1.FitCalibrationRequest{Conductor: "pack", Channel: "shunt", PointSequence: points})
		if err != nil {
			t.Fatal(err)
		}
		return response.GetRecord().GetRecordSequence()
	}
	apply := func(record uint64, force bool) error {
		_, err := b.ApplyCalibration(t.Context(), &ampledgerv1.ApplyCalibrationRequest{RecordSequence: record, Force: force})
		return err
	}
	b.FeedAmperes("adc0", 1, 2, 3)
	refused(t, apply(calibrated(-1), true), codes.FailedPrecondition, "SIGN_REVERSED", "")
	two := calibrated(2)
	refused(t, apply(two, false), codes.FailedPrecondition, "VERDICT_AGAINST", "")
	refused(t, apply(1, false), codes.FailedPrecondition, "NOTHING_TO_APPLY", "")
	none := 0.0
	_, err := b.ApplyCalibration(t.Context(), &ampledgerv1.ApplyCalibrationRequest{RecordSequence: two, Force: true, GainUncertaintyRatio: &none})
	refused(t, err, codes.InvalidArgument, "UNCERTAINTY_TOO_SMALL", "gain_uncertainty_ratio")
	if err := apply(two, true); err != nil {
		t.Error(err)
	}
}

// TestZeroDrift makes offset and slope of zeros at three temperatures; where no temperature is wired it cannot be applied.
func TestZeroDrift(t *testing.T) {
	b := newBench(t)
	b.FeedAmperes("adc0", 1, 2, 3)
	for celsius, amperes := range map[float64]float64{10: 0.2, 20: 0.3, 30: 0.4} {
		_, err := b.Store.AppendRecord(t.Context(), &ampledgerv1.CommissioningRecord{
			Conductor: "pack", Channel: "shunt", Body: &ampledgerv1.CommissioningRecord_Zero{Zero: &ampledgerv1.ZeroFound{
				Basis:       b.basis(),
				MeanAmperes: amperes, StandardUncertaintyAmperes: 0.01, TemperatureCelsius: &celsius, Steady: true,
			}},
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	response, err := b.FitZeroDrift(t.Context(), &ampledgerv1.FitZeroDriftRequest{Conductor: "pack", Channel: "shunt", ReferenceCelsius: 25})
	if err != nil {
		t.Fatal(err)
	}
	// By hand: the slope's variance is σ²/Σ(T−20)² = 10⁻⁴/200, the offset's at 25 °C σ²/3 + 25 times that.
	d := response.GetRecord().GetDrift()
	for what, c := range map[string][2]float64{
		"offset": {d.GetOffsetAmperes(), 0.35}, "slope": {d.GetSlopeAmperesPerKelvin(), 0.01}, "u of slope": {d.GetSlopeUncertaintyAmperesPerKelvin(), math.Sqrt(5e-7)},
		"u of offset": {d.GetOffsetUncertaintyAmperes(), math.Sqrt(1e-4/3 + 25*5e-7)}, "lowest": {d.GetLowestCelsius(), 10}, "highest": {d.GetHighestCelsius(), 30},
	} {
		if math.Abs(c[0]-c[1]) > 1e-12 {
			t.Errorf("%s: %g, want %g", what, c[0], c[1])
		}
	}
	_, err = b.ApplyCalibration(t.Context(), &ampledgerv1.ApplyCalibrationRequest{RecordSequence: response.GetRecord().GetRecordSequence()})
	refused(t, err, codes.FailedPrecondition, "NOT_CORRECTABLE", "")
}

// TestCurveApplied corrects a channel that saturates by a curve of the third degree; a curve on a curve is refused.
func TestCurveApplied(t *testing.T) {
	b := newBench(t)
	b.FeedAmperes("adc0", 1, 2, 3)
	shows := func(amperes float64) float64 { return 0.2 + amperes*(1.01-2e-6*amperes*amperes) }
	fit := func() uint64 {
		t.Helper()
		for i := -5; i <= 5; i++ {
			if err := b.stated(20*float64(i), shows(20*float64(i))); err != nil {
				t.Fatal(err)
			}
		}
		response, err := b.FitCalibration(t.Context(), &ampledgerv1.FitCalibrationRequest{Conductor: "pack", Channel: "shunt", DegreeCount: 3})
		if err != nil {
			t.Fatal(err)
		}
		return response.GetRecord().GetRecordSequence()
	}
	b.apply(&ampledgerv1.ApplyCalibrationRequest{RecordSequence: fit()})
	if p := b.point(95, shows(95)).GetPoint(); math.Abs(p.GetIndicatedAmperes()-95) > 0.001 {
		t.Errorf("95 A are indicated as %g A", p.GetIndicatedAmperes())
	}
	_, err := b.ApplyCalibration(t.Context(), &ampledgerv1.ApplyCalibrationRequest{RecordSequence: fit()})
	refused(t, err, codes.FailedPrecondition, "CURVE_ON_CURVE", "")
	z := b.zero(still(shows(0)), true)
	b.apply(&ampledgerv1.ApplyCalibrationRequest{RecordSequence: z.GetRecordSequence(), Force: true})
}

// TestRevertedStepByStep takes two zeros back, the newer one first: each time what was before is in force, with its date.
func TestRevertedStepByStep(t *testing.T) {
	b := newBench(t)
	shows := func(want float64) {
		t.Helper()
		if got := b.zero(still(0.5), true).GetFound().GetMeanAmperes(); math.Abs(got-want) > 1e-9 {
			t.Errorf("0.5 A are indicated as %g A, want %g A", got, want)
		}
	}
	first := b.apply(&ampledgerv1.ApplyCalibrationRequest{RecordSequence: b.zero(still(0.3), true).GetRecordSequence(), Force: true, ExpiresWallNanos: math.MaxInt64})
	b.apply(&ampledgerv1.ApplyCalibrationRequest{RecordSequence: b.zero(still(0.4), true).GetRecordSequence(), Force: true})
	shows(0.1)
	revert := func() *ampledgerv1.Change {
		t.Helper()
		response, err := b.RevertCalibration(t.Context(), &ampledgerv1.RevertCalibrationRequest{Conductor: "pack", Channel: "shunt"})
		if err != nil {
			t.Fatal(err)
		}
		return response.GetRecord().GetReverted()
	}
	if change := revert(); change.GetInForceAfterSequence() != first.GetRecord().GetRecordSequence() || change.GetExpiresWallNanos() != math.MaxInt64 {
		t.Errorf("reverted to the first: %v", change)
	}
	shows(0.2)
	if change := revert(); change.GetInForceAfterSequence() != 0 || change.GetExpiresWallNanos() != 0 {
		t.Errorf("reverted to the configuration: %v", change)
	}
	shows(0.5)
}
