package service

import (
	"fmt"
	"math"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/sensor"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// finding is what a record found that can be applied.
type finding struct {
	on         footing
	correction sensor.Correction
	zero, gain float64 // standard uncertainties
	against    string  // what speaks against it; empty = nothing
	sequence   uint64
}

// The gains within which a calibration is taken for one: beyond, something else is wrong.
const (
	leastGain = 0.9
	mostGain  = 1.1
)

func findingOf(record *ampledgerv1.CommissioningRecord) (f finding, err error) {
	f = finding{on: footingOf(record), correction: sensor.NoCorrection, sequence: record.GetRecordSequence()}
	switch {
	case record.GetZero() != nil:
		z := record.GetZero()
		f.correction.Coefficients[0], f.zero = z.GetMeanAmperes(), z.GetStandardUncertaintyAmperes()
		if !z.GetSteady() {
			f.against = "the zero was not steady: " + z.GetReason()
		}
	case record.GetDrift() != nil:
		d := record.GetDrift()
		f.correction.Coefficients[0], f.correction.PerKelvin, f.correction.ReferenceCelsius = d.GetOffsetAmperes(), d.GetSlopeAmperesPerKelvin(), d.GetReferenceCelsius()
		f.zero = max(driftUncertainty(d, d.GetLowestCelsius()), driftUncertainty(d, d.GetHighestCelsius())) // the worst where zeros were found
	case record.GetCalibration() != nil:
		k := record.GetCalibration()
		f.correction.Coefficients = [4]float64{}
		copy(f.correction.Coefficients[:], k.GetCoefficientValues())
		f.correction.Least, f.correction.Greatest = k.GetLeastAmperes(), k.GetGreatestAmperes()
		// Zero and gain are taken as independent of each other from here on. For |r| = their correlation, u₀² + (u₁·I)² ± 2r·u₀·u₁·I is at most
		// (1 + |r|)·(u₀² + (u₁·I)²), whichever way the current flows.
		together := math.Sqrt(1 + math.Abs(k.GetCorrelationRatio()))
		f.zero, f.gain = together*k.GetOffsetUncertaintyAmperes(), together*k.GetGainUncertaintyRatio()/math.Abs(k.GetGainRatio())
		if gain := k.GetGainRatio(); gain < 0 {
			return f, refuse(codes.FailedPrecondition, "", "SIGN_REVERSED", "the calibration turns the sign around: write reversed: true into the configuration instead, and calibrate anew")
		} else if gain < leastGain || gain > mostGain {
			f.against = fmt.Sprintf("a gain of %.4g is no matter of calibration: look at the wiring, the primary turns and the configuration", gain)
		}
	default:
		return f, refuse(codes.FailedPrecondition, "", "NOTHING_TO_APPLY", fmt.Sprintf("record %d is no zero, drift or calibration", record.GetRecordSequence()))
	}
	return f, nil
}

// driftUncertainty is the standard uncertainty of the zero at a temperature (GUM 5.2.2).
func driftUncertainty(d *ampledgerv1.ZeroDrift, celsius float64) float64 {
	u, slope := d.GetOffsetUncertaintyAmperes(), d.GetSlopeUncertaintyAmperesPerKelvin()*(celsius-d.GetReferenceCelsius())
	return math.Sqrt(max(0, u*u+slope*slope+2*d.GetCorrelationRatio()*u*slope))
}

// check tells why the finding is not to be applied as it is asked for.
func (f *finding) check(request *ampledgerv1.ApplyCalibrationRequest) error {
	zero, gain := request.ZeroUncertaintyAmperes, request.GainUncertaintyRatio
	switch {
	case f.against != "" && !request.GetForce():
		return refuse(codes.FailedPrecondition, "", "VERDICT_AGAINST", f.against)
	case zero != nil && *zero < f.zero:
		return refuse(codes.InvalidArgument, "zero_uncertainty_amperes", "UNCERTAINTY_TOO_SMALL",
			fmt.Sprintf("record %d leaves %.4g A of uncertainty in the zero: no less can be stated", f.sequence, f.zero))
	case gain != nil && *gain < f.gain:
		return refuse(codes.InvalidArgument, "gain_uncertainty_ratio", "UNCERTAINTY_TOO_SMALL",
			fmt.Sprintf("record %d leaves a relative uncertainty of %.4g in the gain: no less can be stated", f.sequence, f.gain))
	}
	return nil
}

// onto puts the finding on what is in force before a change, and into the change. The uncertainties are those asked for, else those stated before, and never less than
// the finding's own.
func (f *finding) onto(change *ampledgerv1.Change, request *ampledgerv1.ApplyCalibrationRequest, configuredZero, configuredGain float64) error {
	if reason, text := f.on.against(footing{change.GetInForceBeforeSequence(), change.GetBasis()}, f.sequence); reason != "" {
		return refuse(codes.FailedPrecondition, "", reason, text)
	}
	before := correctionFrom(change.GetBefore())
	f.correction.ZeroAmperes = stated(request.ZeroUncertaintyAmperes, before.ZeroAmperes, f.zero, configuredZero)
	f.correction.GainRatio = stated(request.GainUncertaintyRatio, before.GainRatio, f.gain, configuredGain)
	after, err := before.Beneath(f.correction)
	if err != nil {
		return refuse(codes.FailedPrecondition, "", "CURVE_ON_CURVE", err.Error())
	}
	change.After, change.ExpiresWallNanos = correctionTo(after), request.GetExpiresWallNanos()
	return nil
}

// stated gives the uncertainty to state from a change on; nil = the configuration's.
func stated(asked, before *float64, found, configured float64) *float64 {
	to := asked
	if to == nil {
		to = before
	}
	if to == nil && found > configured || to != nil && *to < found {
		return &found
	}
	return to
}
