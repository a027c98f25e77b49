package physics

// Magnetic is an isolated sensor with a voltage output, and a converter.
type Magnetic struct {
	Converter
	Errors
	VoltsPerAmpere                float64 // not zero
	ZeroVolts                     float64
	MinimumVolts, MaximumVolts    float64 // between which the output stays; infinite = no limit
	OffsetAmperesPerKelvin        float64 // from ReferenceCelsius
	OffsetAmperesPerSquaredKelvin float64
	ReferenceCelsius              float64
	Body                          Body
	Thermometer                   Thermometer
	Hysteresis                    Hysteresis // nil = none
	Supply                        *Supply    // nil = not ratiometric
}

// magneticRun is a magnetic channel in one run.
type magneticRun struct {
	*Magnetic
	errors imperfection
	warmth warmth
	core   Core  // nil = none
	feed   *feed // nil = none
}

func newMagneticRun(m *Magnetic, stepSeconds float64, seed uint64) *magneticRun {
	if m == nil {
		return nil
	}
	run := &magneticRun{
		Magnetic: m,
		errors:   newImperfection(m.Errors, stepSeconds, stream(seed, magneticNoiseStream), stream(seed, magneticWalkStream)),
		warmth:   newWarmth(m.Body, m.Thermometer, stepSeconds, stream(seed, magneticThermometerStream)),
		feed:     newFeed(m.Supply, stepSeconds, seed),
	}
	if m.Hysteresis != nil {
		run.core = m.Hysteresis.Start()
	}
	return run
}

// next gives the reading and what the measurement of the supply says, 0 if there is none.
func (m *magneticRun) next(now *instant, spike float64, unsupplied bool) (r Reading, supplyVolts float64) {
	r.BodyCelsius, r.Celsius = m.warmth.next(now.celsius, now.amperes)
	clean, noisy := m.errors.next(now.amperes, now.nanos)
	warmer := r.BodyCelsius - m.ReferenceCelsius
	more := float64(m.OffsetAmperesPerKelvin*warmer) + float64(m.OffsetAmperesPerSquaredKelvin*(warmer*warmer))
	if m.core != nil {
		more += m.core.Advance(now.amperes)
	}
	volts := m.ZeroVolts + float64((noisy+spike+more)*m.VoltsPerAmpere)
	if m.feed != nil {
		var supply float64
		supply, supplyVolts = m.feed.next(unsupplied)
		volts *= supply / m.feed.NominalVolts
	}
	volts = min(max(volts, m.MinimumVolts), m.MaximumVolts)
	if unsupplied {
		volts = 0
	}
	r.Code, r.TrueOffsetAmperes = m.Code(volts), clean+more-now.amperes
	return r, supplyVolts
}
