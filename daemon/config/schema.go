package config

// Config is a whole configuration file.
type Config struct {
	State      string      `yaml:"state"`      // folder of the database; made if it is missing; relative to the file's folder
	Listen     Listen      `yaml:"listen"`     //
	Devices    []Device    `yaml:"devices"`    // at least one
	Conductors []Conductor `yaml:"conductors"` // at least one
	Ledger     Ledger      `yaml:"ledger"`     //
	Retain     Retain      `yaml:"retain"`     //

	Folder string `yaml:"-"` // folder the file stands in: what relative paths start from
}

// Listen says where the daemon serves.
type Listen struct {
	Unix string `yaml:"unix"` // path of a unix socket; default ampledger.sock in the state folder
}

// Ledger says how often the charge is posted.
type Ledger struct {
	IntervalSeconds float64 `yaml:"interval_seconds"` // device time from entry to entry; default 60
}

// Retain bounds what is kept in memory for subscribers that come late or are slow.
type Retain struct {
	Megabytes float64 `yaml:"megabytes"` // for each conductor; default 16
}

// Device is one driver plugin with its settings.
type Device struct {
	Name         string         `yaml:"name"`
	Driver       Plugin         `yaml:"driver"`
	With         map[string]any `yaml:"with"`          // the driver's own settings
	GapSeconds   *float64       `yaml:"gap_seconds"`   // a longer interval between scans is a gap; default 5 nominal intervals, no limit if the rate is not known
	SummaryScans int            `yaml:"summary_scans"` // scans in a summary for the estimator; default a second's worth, at least 10
	StaleSeconds float64        `yaml:"stale_seconds"` // silence after which its channels count as stale; default 5 s or 10 nominal intervals, whichever is longer
}

// Plugin names a shipped plugin, or an executable by path and SHA-256: written `replay` or `{path: ./mine, sha256: …}`.
type Plugin struct {
	Name        string   `yaml:"name"`        // a shipped plugin
	Path        string   `yaml:"path"`        // else an executable; relative to the file's folder
	SHA256      string   `yaml:"sha256"`      // its checksum, 64 hexadecimal digits; required with path
	Arguments   []string `yaml:"arguments"`   // for the executable
	Environment []string `yaml:"environment"` // names of variables handed on; the environment is empty otherwise
}

// Conductor is one physical current path.
type Conductor struct {
	Name       string     `yaml:"name"`
	Positive   string     `yaml:"positive"`    // the direction with the positive sign: discharge (default) or charge
	Contactor  *Contactor `yaml:"contactor"`   // optional
	Channels   []Channel  `yaml:"channels"`    // at least one
	ChargeFrom string     `yaml:"charge_from"` // the channel the conductor's charge is taken from; default the first
	Estimator  *Estimator `yaml:"estimator"`   // optional; without it readings are statically compensated only
	Guard      []Element  `yaml:"guard"`       // optional
}

// Contactor is an input that is not zero while the conductor is known to be interrupted.
type Contactor struct {
	Device string `yaml:"device"`
	Input  string `yaml:"input"`
}

// Estimator is the estimator plugin of a conductor with its settings.
type Estimator struct {
	Plugin Plugin         `yaml:"plugin"`
	With   map[string]any `yaml:"with"`
}

// Input names an input of the channel's own device.
type Input struct {
	Input string `yaml:"input"`
}

// Channel is one sensor on a conductor. Exactly one of Shunt, Magnetic and Reported is set.
type Channel struct {
	Name        string       `yaml:"name"`
	Device      string       `yaml:"device"`
	Input       string       `yaml:"input"`
	Temperature *Input       `yaml:"temperature"` // optional: the sensor's temperature
	Shunt       *Shunt       `yaml:"shunt"`
	Magnetic    *Magnetic    `yaml:"magnetic"`
	Reported    *Reported    `yaml:"reported"`
	Reversed    bool         `yaml:"reversed"`    // mounted backwards: the sign is changed
	Calibration *Calibration `yaml:"calibration"` // optional

	NoiseAmperes           float64  `yaml:"noise_amperes"`            // standard deviation of one reading
	ZeroUncertaintyAmperes float64  `yaml:"zero_uncertainty_amperes"` // standard uncertainty of the zero
	GainUncertaintyRatio   float64  `yaml:"gain_uncertainty_ratio"`   // relative standard uncertainty of the gain
	MaximumAmperes         *float64 `yaml:"maximum_amperes"`          // a reading beyond it in magnitude is out of range; default no limit but the converter's
	GapBoundAmperes        *float64 `yaml:"gap_bound_amperes"`        // greatest current assumed while nothing was read; default the full scale
}

// Converter says how counts or the driver's volts become volts at the converter's input. Not needed where the driver says it.
type Converter struct {
	VoltsPerCount  *float64 `yaml:"volts_per_count"`  // default: what the driver says
	ZeroCountVolts *float64 `yaml:"zero_count_volts"` // volts at count zero; default: what the driver says
	Bits           int      `yaml:"bits"`             // the converter's resolution, if the driver gives no code range: two's complement
}

// Shunt is a resistance with four-wire sensing, amplified.
type Shunt struct {
	Converter                        `yaml:",inline"`
	ResistanceOhms                   float64      `yaml:"resistance_ohms"`                      // at the reference temperature; or rated_amperes with rated_millivolts
	RatedAmperes                     float64      `yaml:"rated_amperes"`                        // rated current
	RatedMillivolts                  float64      `yaml:"rated_millivolts"`                     // rated drop, as printed on the shunt, instead of resistance_ohms
	Gain                             float64      `yaml:"gain"`                                 // of the amplifier; default 1
	TemperatureCoefficientPerKelvin  float64      `yaml:"temperature_coefficient_per_kelvin"`   // linear
	TemperatureCoefficientPerKelvin2 float64      `yaml:"temperature_coefficient_per_kelvin_2"` // quadratic
	ReferenceCelsius                 *float64     `yaml:"reference_celsius"`                    // default 20
	SelfHeating                      *SelfHeating `yaml:"self_heating"`                         // where no temperature is wired
}

// SelfHeating is one thermal node: the shunt's rise above ambient.
type SelfHeating struct {
	KelvinPerWatt       float64  `yaml:"kelvin_per_watt"`       // thermal resistance to ambient
	TimeConstantSeconds float64  `yaml:"time_constant_seconds"` // of the node
	AmbientCelsius      *float64 `yaml:"ambient_celsius"`       // default the reference temperature
}

// Magnetic is an isolated sensor with a voltage output.
type Magnetic struct {
	Converter                       `yaml:",inline"`
	VoltsPerAmpere                  float64  `yaml:"volts_per_ampere"`                   // of primary current, one turn
	ZeroVolts                       float64  `yaml:"zero_volts"`                         // output at no current
	PrimaryTurns                    int      `yaml:"primary_turns"`                      // default 1
	Supply                          *Supply  `yaml:"supply"`                             // if zero and sensitivity follow the supply
	SensitivityCoefficientPerKelvin float64  `yaml:"sensitivity_coefficient_per_kelvin"` // relative
	ZeroCoefficientVoltsPerKelvin   float64  `yaml:"zero_coefficient_volts_per_kelvin"`  //
	ReferenceCelsius                *float64 `yaml:"reference_celsius"`                  // default 25
	RatedAmperes                    float64  `yaml:"rated_amperes"`                      // nominal measuring range
}

// Supply is a measured supply voltage that a sensor's output follows.
type Supply struct {
	Input        string  `yaml:"input"`
	NominalVolts float64 `yaml:"nominal_volts"`
}

// Reported is a meter that gives amperes itself.
type Reported struct {
	RatedAmperes float64 `yaml:"rated_amperes"` // its full scale; 0 = not known
}

// Calibration corrects converted amperes x to y = (x - offset_amperes)/gain.
type Calibration struct {
	OffsetAmperes float64  `yaml:"offset_amperes"`
	Gain          *float64 `yaml:"gain"` // default 1
}

// Element is one guard rule; exactly one of the kinds is set.
type Element struct {
	Name          string         `yaml:"name"`
	Channel       string         `yaml:"channel"`   // the channel it looks at; default the conductor's charge_from
	Direction     string         `yaml:"direction"` // discharge, charge or both (default)
	DropoffRatio  float64        `yaml:"dropoff_ratio"`
	Instantaneous *Instantaneous `yaml:"instantaneous"`
	DefiniteTime  *DefiniteTime  `yaml:"definite_time"`
	InverseTime   *InverseTime   `yaml:"inverse_time"`
	Saturation    *Saturation    `yaml:"saturation"`
}

// Instantaneous operates after so many consecutive scans at or above pickup.
type Instantaneous struct {
	PickupAmperes float64 `yaml:"pickup_amperes"`
	Scans         int     `yaml:"scans"` // default 1
}

// DefiniteTime operates after a delay above pickup.
type DefiniteTime struct {
	PickupAmperes float64 `yaml:"pickup_amperes"`
	DelaySeconds  float64 `yaml:"delay_seconds"`
}

// InverseTime operates the sooner the higher the current.
type InverseTime struct {
	Curve          string   `yaml:"curve"`
	PickupAmperes  float64  `yaml:"pickup_amperes"`
	TimeMultiplier float64  `yaml:"time_multiplier"` // default 1
	ResetSeconds   *float64 `yaml:"reset_seconds"`   // definite reset time instead of the curve's own
}

// Saturation is raised by so many consecutive saturated scans. Each channel has one, with scans: 1, unless it is written out.
type Saturation struct {
	Scans int `yaml:"scans"`
}
