package physics

// Shunt is a resistance, an amplifier and a converter.
type Shunt struct {
	Converter
	Errors
	Ohms                 float64 // above zero, at ReferenceCelsius
	Gain                 float64 // of the amplifier, not zero
	CoefficientPerKelvin float64
	ReferenceCelsius     float64
	ThermalEMF           ThermalEMF
	Body                 Body
	Thermometer          Thermometer
}

// ThermalEMF is the voltage of the junctions at the two ends of a shunt, which the current warms unequally. It is there whichever way
// the current flows; a positive one reads as discharge.
type ThermalEMF struct {
	VoltsPerKelvin float64 // of difference between the ends
	KelvinPerWatt  float64 // steady difference for a power in the nominal resistance
	LagSeconds     float64 // of the difference behind the power; 0 = none
}

// shuntRun is a shunt in one run.
type shuntRun struct {
	*Shunt
	errors imperfection
	warmth warmth
	ends   Lag // K, between the ends
}

func newShuntRun(s *Shunt, stepSeconds float64, seed uint64) *shuntRun {
	if s == nil {
		return nil
	}
	run := &shuntRun{
		Shunt:  s,
		errors: newImperfection(s.Errors, stepSeconds, stream(seed, shuntNoiseStream), stream(seed, shuntWalkStream)),
		warmth: newWarmth(s.Body, s.Thermometer, stepSeconds, stream(seed, shuntThermometerStream)),
		ends:   NewLag(s.ThermalEMF.LagSeconds, stepSeconds),
	}
	run.ends.StartAt(0)
	return run
}

func (s *shuntRun) next(now *instant, spike float64, unsupplied bool) (r Reading) {
	r.BodyCelsius, r.Celsius = s.warmth.next(now.celsius, now.amperes)
	clean, noisy := s.errors.next(now.amperes, now.nanos)
	ohms := s.ohmsAt(r.BodyCelsius)
	emf := s.emf(now.amperes)
	volts := (float64((noisy+spike)*ohms) + emf) * s.Gain
	if unsupplied {
		volts = 0
	}
	r.Code = s.Code(volts)
	r.TrueOffsetAmperes = (float64(clean*ohms)+emf)/s.ohmsAt(r.Celsius) - now.amperes
	return r
}

// emf gives the voltage of the junctions after a step at a current.
func (s *shuntRun) emf(amperes float64) float64 {
	if s.ThermalEMF.VoltsPerKelvin == 0 {
		return 0
	}
	return s.ThermalEMF.VoltsPerKelvin * s.ends.Next(s.ThermalEMF.KelvinPerWatt*s.Ohms*amperes*amperes)
}

func (s *Shunt) ohmsAt(celsius float64) float64 {
	return s.Ohms * (1 + float64(s.CoefficientPerKelvin*(celsius-s.ReferenceCelsius)))
}
