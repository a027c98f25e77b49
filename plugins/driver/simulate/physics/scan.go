package physics

// Scan is what a device gives at one instant, and the truth behind it. Of a sensor that the rig does not have, all is zero.
type Scan struct {
	Sequence       uint64 // of the scan; a jump says that those between were lost
	MonotonicNanos int64  // what the device says
	TrueAmperes    float64
	Shunt          Reading
	Magnetic       Reading
	SupplyVolts    float64 // as measured
	ContactorOpen  bool    // what the input says
	Absent         Inputs  // that have no value; what stands in their fields means nothing
}

// Reading is one sensor's part of a scan.
type Reading struct {
	Code              int32
	Celsius           float64 // as measured
	BodyCelsius       float64 // as it is
	TrueOffsetAmperes float64 // see the package
}

// Input is one value of a scan that can fail.
type Input uint8

// The inputs that can fail.
const (
	ShuntCode Input = iota
	ShuntCelsius
	MagneticCode
	MagneticCelsius
	SupplyVolts
	ContactorOpen
)

var inputNames = [...]string{"shunt_code", "shunt_celsius", "magnetic_code", "magnetic_celsius", "supply_volts", "contactor_open"}

// String gives the name of the input at a device.
func (i Input) String() string { return inputNames[i] }

// InputNamed gives the input of a name, false if there is none.
func InputNamed(name string) (Input, bool) {
	for i, n := range inputNames {
		if n == name {
			return Input(i), true
		}
	}
	return 0, false
}

// Inputs is a set of inputs.
type Inputs uint8

// Has says whether an input is in the set.
func (s Inputs) Has(i Input) bool { return s&(1<<i) != 0 }

func (s *Scan) value(i Input) float64 {
	switch i {
	case ShuntCode:
		return float64(s.Shunt.Code)
	case ShuntCelsius:
		return s.Shunt.Celsius
	case MagneticCode:
		return float64(s.Magnetic.Code)
	case MagneticCelsius:
		return s.Magnetic.Celsius
	case SupplyVolts:
		return s.SupplyVolts
	}
	if s.ContactorOpen {
		return 1
	}
	return 0
}

func (s *Scan) set(i Input, value float64) {
	switch i {
	case ShuntCode:
		s.Shunt.Code = int32(value)
	case ShuntCelsius:
		s.Shunt.Celsius = value
	case MagneticCode:
		s.Magnetic.Code = int32(value)
	case MagneticCelsius:
		s.Magnetic.Celsius = value
	case SupplyVolts:
		s.SupplyVolts = value
	case ContactorOpen:
		s.ContactorOpen = value != 0
	}
}
