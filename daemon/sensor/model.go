package sensor

import (
	"errors"
	"fmt"
	"math"
)

// Model is the physics of one kind of sensor.
type Model interface {
	// line gives amperes = volts·slope + intercept at a temperature in °C and a supply in volts.
	line(celsius, supplyVolts float64) (slope, intercept float64)
	// reference gives the temperature and supply at which the figures of the model hold.
	reference() (celsius, supplyVolts float64)
	validate() error
}

// Shunt is a resistance, sensed at its own two terminals and amplified.
type Shunt struct {
	ResistanceOhms   float64 // R₀ at the reference temperature, > 0
	Gain             float64 // of the amplifier, not 0
	PerKelvin        float64 // α of R(T) = R₀(1 + α(T−T₀) + β(T−T₀)²)
	PerKelvin2       float64 // β of it
	ReferenceCelsius float64 // T₀
}

func (s *Shunt) line(celsius, _ float64) (slope, intercept float64) {
	rise := celsius - s.ReferenceCelsius
	return 1 / (s.Gain * s.ResistanceOhms * (1 + rise*(s.PerKelvin+rise*s.PerKelvin2))), 0
}

func (s *Shunt) reference() (celsius, supplyVolts float64) { return s.ReferenceCelsius, 1 }

func (s *Shunt) validate() error {
	return errors.Join(positive("resistance", s.ResistanceOhms), nonzero("gain", s.Gain),
		finite("temperature coefficient", s.PerKelvin, s.PerKelvin2, s.ReferenceCelsius))
}

// Magnetic is an isolated sensor with a voltage output.
type Magnetic struct {
	VoltsPerAmpere   float64 // S for one primary turn at the reference temperature, not 0
	ZeroVolts        float64 // V_q, output at no current
	PrimaryTurns     float64 // n, > 0
	PerKelvin        float64 // relative change of S with temperature
	ZeroPerKelvin    float64 // change of V_q in volts per kelvin
	ReferenceCelsius float64 // where S and V_q hold
	NominalSupply    float64 // volts; 0 = output does not follow the supply
}

func (m *Magnetic) line(celsius, supplyVolts float64) (slope, intercept float64) {
	rise := celsius - m.ReferenceCelsius
	sensitivity := m.VoltsPerAmpere * m.PrimaryTurns * (1 + m.PerKelvin*rise)
	ratio := 1.0
	if m.NominalSupply != 0 {
		ratio = m.NominalSupply / supplyVolts
	}
	return ratio / sensitivity, -(m.ZeroVolts + m.ZeroPerKelvin*rise) / sensitivity
}

func (m *Magnetic) reference() (celsius, supplyVolts float64) {
	return m.ReferenceCelsius, m.NominalSupply
}

func (m *Magnetic) validate() error {
	faults := []error{nonzero("volts per ampere", m.VoltsPerAmpere), positive("primary turns", m.PrimaryTurns),
		finite("coefficient", m.ZeroVolts, m.PerKelvin, m.ZeroPerKelvin, m.ReferenceCelsius, m.NominalSupply)}
	if m.NominalSupply < 0 {
		faults = append(faults, errors.New("nominal supply is negative"))
	}
	return errors.Join(faults...)
}

// Reported is a meter that gives amperes itself; its "volts" are amperes.
type Reported struct{}

func (Reported) line(_, _ float64) (slope, intercept float64) { return 1, 0 }
func (Reported) reference() (celsius, supplyVolts float64)    { return 20, 1 }
func (Reported) validate() error                              { return nil }

func finite(name string, values ...float64) error {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%s is %g: it must be finite", name, v)
		}
	}
	return nil
}

func nonzero(name string, v float64) error {
	if v == 0 {
		return fmt.Errorf("%s is 0", name)
	}
	return finite(name, v)
}

func positive(name string, v float64) error {
	if v <= 0 {
		return fmt.Errorf("%s is %g: it must be above 0", name, v)
	}
	return finite(name, v)
}
