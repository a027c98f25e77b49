package service

import (
	"context"
	"errors"
	"math"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/metrology/calibration"
	"github.com/ampledger/ampledger/daemon/metrology/polynomial"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

const (
	usualGainLimit = 0.01 // above which a shunt's sense leads are suspected
	predictedAt    = 11   // currents
	samePlace      = 0.01 // of the points' span: currents so close are the same one
	outlierLevel   = 0.01
)

// FitCalibration implements the call.
func (s *commissioningServer) FitCalibration(ctx context.Context, request *ampledgerv1.FitCalibrationRequest) (*ampledgerv1.FitCalibrationResponse, error) {
	c, lane, err := s.channel(request.GetConductor(), request.GetChannel())
	if err != nil {
		return nil, err
	}
	if err := checkFit(request); err != nil {
		return nil, err
	}
	now, err := footingNow(c, lane.Name)
	if err != nil {
		return nil, err
	}
	records, err := s.recordsOf(ctx, c, lane.Name, "point", request.GetPointSequence(), now)
	if err != nil {
		return nil, err
	}
	fitted, err := fitPoints(request, records, lane.SensorKind)
	if err != nil {
		return nil, refuse(codes.InvalidArgument, "point_sequence", "NO_CALIBRATION", err.Error())
	}
	fitted.InForceSequence, fitted.Basis = now.change, now.basis
	if fitted.Shift, err = s.shift(ctx, c.Name(), lane.Name, fitted); err != nil {
		return nil, err
	}
	stored, err := s.keep(ctx, &ampledgerv1.CommissioningRecord{
		Conductor: request.GetConductor(), Channel: request.GetChannel(), By: request.GetBy(), Note: request.GetNote(),
		RefersToSequence: records[len(records)-1].GetRecordSequence(), Body: &ampledgerv1.CommissioningRecord_Calibration{Calibration: fitted},
	})
	if err != nil {
		return nil, err
	}
	return &ampledgerv1.FitCalibrationResponse{Record: stored}, nil
}

func checkFit(request *ampledgerv1.FitCalibrationRequest) error {
	if d := request.GetDegreeCount(); d > 3 {
		return refuse(codes.InvalidArgument, "degree_count", "DEGREE_OUT_OF_RANGE", "the degree of a curve is 1, 2 or 3")
	}
	if l := request.GetGainLimitRatio(); !(l >= 0 && l < 1) {
		return refuse(codes.InvalidArgument, "gain_limit_ratio", "LIMIT_OUT_OF_RANGE", "the limit of the gain must be above 0 and less than 1")
	}
	for _, words := range []string{request.GetInstrument(), request.GetEnvironment(), request.GetMethod()} {
		if err := checkWords("", words); err != nil {
			return err
		}
	}
	return checkWords(request.GetBy(), request.GetNote())
}

// fitPoints makes the calibration of points.
func fitPoints(request *ampledgerv1.FitCalibrationRequest, records []*ampledgerv1.CommissioningRecord, sensorKind string) (*ampledgerv1.Calibration, error) {
	common := calibration.Common{OffsetAmperes: request.GetCommonOffsetAmperes(), GainRatio: request.GetCommonGainRatio()}
	var points []calibration.Point
	for _, record := range records {
		p := record.GetPoint()
		common.OffsetAmperes, common.GainRatio = max(common.OffsetAmperes, p.GetCommonOffsetAmperes()), max(common.GainRatio, p.GetCommonGainRatio())
		points = append(points, calibration.Point{
			ReferenceAmperes: p.GetReferenceAmperes(), ReferenceUncertaintyAmperes: p.GetReferenceUncertaintyAmperes(),
			IndicatedAmperes: p.GetIndicatedAmperes(), IndicatedUncertaintyAmperes: p.GetIndicatedUncertaintyAmperes(), Sweep: sweepOf(p.GetSweep()),
		})
	}
	curve, err := calibration.New(points, polynomial.Shape{Degree: int(max(1, request.GetDegreeCount()))}, common)
	if err != nil {
		return nil, err
	}
	fitted := calibrationOf(curve, records)
	fitted.Instrument, fitted.Environment, fitted.Method = request.GetInstrument(), request.GetEnvironment(), request.GetMethod()
	limit := request.GetGainLimitRatio()
	if limit == 0 {
		limit = usualGainLimit
	}
	within := samePlace * (fitted.GetGreatestAmperes() - fitted.GetLeastAmperes())
	for _, d := range curve.Diagnose(calibration.Expectation{Shunt: sensorKind == "shunt", GainLimitRatio: limit, WithinAmperes: within}) {
		fitted.Diagnoses = append(fitted.Diagnoses, &ampledgerv1.Diagnosis{Subject: subjects[d.Fault], Text: d.Text})
	}
	return fitted, nil
}

// subjects name the faults that a calibration shows.
var subjects = map[calibration.Fault]string{
	calibration.Backwards: "sign reversed", calibration.Turns: "primary turns", calibration.SenseLeads: "sense leads", calibration.Bent: "curvature",
	calibration.Hysteretical: "hysteresis", calibration.Apart: "outlier",
}

func sweepOf(sweep ampledgerv1.Sweep) calibration.Sweep {
	return map[ampledgerv1.Sweep]calibration.Sweep{
		ampledgerv1.Sweep_SWEEP_UP: calibration.Ascending, ampledgerv1.Sweep_SWEEP_DOWN: calibration.Descending,
	}[sweep]
}

// calibrationOf writes a curve down.
func calibrationOf(curve *calibration.Curve, records []*ampledgerv1.CommissioningRecord) *ampledgerv1.Calibration {
	line := curve.Line()
	to := &ampledgerv1.Calibration{
		CoefficientValues: curve.Fit.Coefficients, OffsetAmperes: line.OffsetAmperes, OffsetUncertaintyAmperes: line.OffsetUncertaintyAmperes,
		GainRatio: line.Gain, GainUncertaintyRatio: line.GainUncertainty, CorrelationRatio: line.Correlation,
		CommonOffsetAmperes: curve.Common.OffsetAmperes, CommonGainRatio: curve.Common.GainRatio,
		EnlargedRatio: curve.Enlarged, ConsistencyRatio: curve.Fit.Consistency(), LeastAmperes: math.Inf(1), GreatestAmperes: math.Inf(-1),
	}
	for _, row := range curve.Fit.Covariance {
		to.CovarianceValues = append(to.CovarianceValues, row...)
	}
	if isNumber(curve.Birge) {
		to.BirgeRatio = &curve.Birge
	}
	outliers := map[int]bool{}
	for _, o := range curve.Fit.Outliers(outlierLevel) {
		outliers[o.Point] = true
	}
	for i, p := range curve.Points {
		to.LeastAmperes, to.GreatestAmperes = min(to.LeastAmperes, p.ReferenceAmperes), max(to.GreatestAmperes, p.ReferenceAmperes)
		to.PointSequence = append(to.PointSequence, records[i].GetRecordSequence())
		to.Residuals = append(to.Residuals, &ampledgerv1.PointResidual{
			PointSequence: records[i].GetRecordSequence(), ResidualAmperes: curve.Fit.Residuals[i], Outlier: outliers[i],
		})
	}
	judgements(curve, to)
	return to
}

// judgements adds what is told of the curve as a whole.
func judgements(curve *calibration.Curve, to *ampledgerv1.Calibration) {
	span := to.GetGreatestAmperes() - to.GetLeastAmperes()
	if l := curve.Fit.LackOfFit(samePlace * span); l.Told {
		to.LackOfFit = &ampledgerv1.LackOfFit{
			FRatio: l.Ratio, CurveFreedomCount: uint32(l.CurveFreedom), RepeatFreedomCount: uint32(l.RepeatFreedom), ProbabilityRatio: l.Probability,
		}
	}
	if h := curve.Hysteresis(samePlace * span); h.Places > 0 {
		to.SweepDifference = &ampledgerv1.SweepDifference{
			PlaceCount: uint32(h.Places), MeanAmperes: h.MeanAmperes, MeanUncertaintyAmperes: h.MeanUncertaintyAmperes,
			LargestAmperes: h.LargestAmperes, LargestAtAmperes: h.LargestAtAmperes, ProbabilityRatio: h.Probability,
		}
	}
	for i := range predictedAt {
		at := to.GetLeastAmperes() + span*float64(i)/(predictedAt-1)
		_, u := curve.Indication(at)
		to.Predicted = append(to.Predicted, &ampledgerv1.Predicted{CurrentAmperes: at, StandardUncertaintyAmperes: u / math.Abs(curve.Fit.Slope(at))})
	}
}

// shift holds a calibration against the one before it of the channel: both as lines of what the configuration alone makes. Nil = there is none before, or it was
// found on another conversion.
func (s *commissioningServer) shift(ctx context.Context, conductor, channel string, now *ampledgerv1.Calibration) (*ampledgerv1.CalibrationShift, error) {
	record, err := s.backend.Records.NewestRecord(ctx, store.RecordFilter{Conductor: conductor, Channel: channel, Kinds: []string{"calibration"}})
	if errors.Is(err, store.ErrNoRecord) {
		return nil, nil
	}
	if err != nil {
		return nil, statusOf(err)
	}
	before := record.GetCalibration()
	if before.GetBasis() != now.GetBasis() {
		return nil, nil
	}
	offset, gain, err := s.lineOf(ctx, now)
	if err != nil {
		return nil, err
	}
	offsetBefore, gainBefore, err := s.lineOf(ctx, before)
	if err != nil {
		return nil, err
	}
	shift := &ampledgerv1.CalibrationShift{
		PreviousSequence: record.GetRecordSequence(), OffsetAmperes: offset - offsetBefore, GainRatio: gain - gainBefore,
	}
	shift.OffsetDeviationRatio = over(shift.GetOffsetAmperes(), now.GetOffsetUncertaintyAmperes(), before.GetOffsetUncertaintyAmperes())
	shift.GainDeviationRatio = over(shift.GetGainRatio(), now.GetGainUncertaintyRatio(), before.GetGainUncertaintyRatio())
	return shift, nil
}

// lineOf gives offset and gain of a calibration as if nothing had been in force when it was found.
func (s *commissioningServer) lineOf(ctx context.Context, of *ampledgerv1.Calibration) (offset, gain float64, err error) {
	k := [4]float64{0, 1}
	if under := of.GetInForceSequence(); under != 0 {
		record, err := s.record(ctx, under)
		if err != nil {
			return 0, 0, err
		}
		copy(k[:], record.GetApplied().GetAfter().GetCoefficientValues())
	}
	x := of.GetOffsetAmperes()
	return k[0] + x*(k[1]+x*(k[2]+x*k[3])), of.GetGainRatio() * (k[1] + x*(2*k[2]+3*x*k[3])), nil
}

// over gives a difference in units of two uncertainties together; 0 if both are 0.
func over(difference, u, v float64) float64 {
	if together := math.Hypot(u, v); together > 0 {
		return difference / together
	}
	return 0
}
