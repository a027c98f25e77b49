package config

// Beside the yaml tag, which is the key, a check tag says what Parse asks of the value: "required", a rule of rules, a choice of
// words such as discharge|charge, or "free" for a text that may hold anything. Each default is filled in by fill.

// Config is a whole configuration file.
type Config struct {
	State      string      `yaml:"state" check:"required"`      // folder of the database; made if it is missing; relative to the file's folder
	Listen     Listen      `yaml:"listen"`                      //
	Devices    []Device    `yaml:"devices" check:"required"`    // at least one
	Conductors []Conductor `yaml:"conductors" check:"required"` // at least one
	Ledger     Ledger      `yaml:"ledger"`                      //
	Retain     Retain      `yaml:"retain"`                      //
	Estimates  Estimates   `yaml:"estimates"`                   //
	Candidates string      `yaml:"candidates"`                  // optional: folder of the executables that callers may have started as estimators
	Abuse      Abuse       `yaml:"abuse"`                       //
	Record     *Record     `yaml:"record"`                      // optional: record what the devices give

	Folder string `yaml:"-"` // folder the file stands in: what relative paths start from
	SHA256 string `yaml:"-"` // checksum of the file's text, 64 hexadecimal digits
}

// Listen says where the daemon serves.
type Listen struct {
	Unix string `yaml:"unix"` // path of a unix socket; default ampledger.sock in the state folder
}

// Ledger says how often the charge is posted.
type Ledger struct {
	IntervalSeconds    float64 `yaml:"interval_seconds" check:"positive"`    // device time from entry to entry; default 60
	IntervalCoulombs   float64 `yaml:"interval_coulombs" check:"positive"`   // or so much charge, out plus in, whichever comes first; default a thousandth of the conductor's capacity
	AdjustmentCoulombs float64 `yaml:"adjustment_coulombs" check:"positive"` // by more than this a correction of the charge must move to be posted; default 1
}

// Retain bounds what is kept in memory for subscribers that come late or are slow.
type Retain struct {
	Megabytes float64 `yaml:"megabytes" check:"positive"` // for each conductor; default 16
}

// Estimates says what is recorded of what estimators say, to compare them over weeks, and how many may run.
type Estimates struct {
	IntervalSeconds float64 `yaml:"interval_seconds" check:"positive"`  // device time from one recorded summary to the next; default 60
	KeepDays        float64 `yaml:"keep_days" check:"positive"`         // after which a record is deleted; default 35
	MostShadows     int     `yaml:"most_shadow_count" check:"positive"` // estimators beside the one in force, on each conductor; default 8
}

// Abuse says what is kept of the readings around an event that a guard element raises. Events themselves are always kept.
type Abuse struct {
	BeforeSeconds     *float64 `yaml:"before_seconds" check:"notnegative"`  // device time before the onset; default 1
	AfterSeconds      *float64 `yaml:"after_seconds" check:"notnegative"`   // and after it; default 2, and together at most 600
	WaveformMegabytes float64  `yaml:"waveform_megabytes" check:"positive"` // of all waveforms; the oldest are dropped, those of acknowledged events first; default 256
	WaveformDays      *float64 `yaml:"waveform_days" check:"positive"`      // after which a waveform is dropped; default no limit
}

// Record says how what the devices give is recorded, raw and scan by scan, to Parquet files that the driver replay plays again.
type Record struct {
	Folder          string   `yaml:"folder"`                             // where; default recordings in the state folder
	Devices         []string `yaml:"devices"`                            // only these; default all
	Readings        bool     `yaml:"readings"`                           // the calibrated readings of each channel as well, in files of their own
	BudgetMegabytes float64  `yaml:"budget_megabytes" check:"positive"`  // of all files; the oldest are removed; default 1024
	FileMegabytes   float64  `yaml:"file_megabytes" check:"positive"`    // after which a file is complete; default 64
	FileSeconds     float64  `yaml:"file_seconds" check:"positive"`      // or after so long; default 3600, at most a day
	RowGroupSeconds float64  `yaml:"row_group_seconds" check:"positive"` // how often what was recorded is put on disk; default 10
}

// Device is one driver plugin with its settings.
type Device struct {
	Name         string         `yaml:"name" check:"required"`
	Driver       Plugin         `yaml:"driver" check:"required"`
	With         map[string]any `yaml:"with"`                           // the driver's own settings
	GapSeconds   *float64       `yaml:"gap_seconds" check:"positive"`   // a longer interval between scans is a gap; default 5 nominal intervals, no limit if the rate is not known
	SummaryScans int            `yaml:"summary_scans" check:"positive"` // scans in a summary for the estimator; default a second's worth, at least 10
	StaleSeconds float64        `yaml:"stale_seconds" check:"positive"` // silence after which its channels count as stale; default 5 s or 10 nominal intervals, whichever is longer
}

// Plugin names a shipped plugin, or an executable by path and SHA-256: written `replay` or `{path: ./mine, sha256: …}`.
type Plugin struct {
	Name        string   `yaml:"name"`                   // a shipped plugin
	Path        string   `yaml:"path"`                   // else an executable; relative to the file's folder
	SHA256      string   `yaml:"sha256"`                 // its checksum, 64 hexadecimal digits; required with path
	Arguments   []string `yaml:"arguments" check:"free"` // for the executable
	Environment []string `yaml:"environment"`            // names of variables handed on; the environment is empty otherwise
}

// Conductor is one physical current path.
type Conductor struct {
	Name      string     `yaml:"name" check:"required"`
	Positive  string     `yaml:"positive" check:"discharge|charge"` // the direction with the positive sign: discharge (default) or charge
	Contactor *Contactor `yaml:"contactor"`                         // optional

	CapacityAmpereHours float64 `yaml:"capacity_ampere_hours" check:"positive"` // rated, of what the conductor belongs to; 0 = not known
	WorkingVolts        float64 `yaml:"working_volts" check:"positive"`         // highest voltage, d.c., between the conductor and what may be touched: the charging voltage, not the nominal one; 0 = not known

	Channels   []Channel  `yaml:"channels" check:"required"` // at least one
	ChargeFrom string     `yaml:"charge_from"`               // the channel the conductor's charge is taken from, or fused: all of them combined; default the first
	Estimator  *Estimator `yaml:"estimator"`                 // optional; without it readings are statically compensated only
	Shadows    []Shadow   `yaml:"shadows"`                   // optional: estimators that run beside it and change nothing
	Guard      []Element  `yaml:"guard"`                     // optional
}

// Fused stands for the combination of a conductor's channels where one of them could be named.
const Fused = "fused"

// mostFused is how many channels may be combined.
const mostFused = 8

// Contactor is an input that is not zero while the conductor is known to be interrupted.
type Contactor struct {
	Device string `yaml:"device" check:"required"`
	Input  string `yaml:"input" check:"required"`
}

// Estimator is the estimator plugin of a conductor with its settings.
type Estimator struct {
	Plugin Plugin         `yaml:"plugin" check:"required"`
	With   map[string]any `yaml:"with"`
}

// Shadow is an estimator that runs beside the one in force. It is started with the daemon, and what it has learnt outlives it.
type Shadow struct {
	Name   string         `yaml:"name" check:"required"` // letters, digits, - and _, at most 40
	Plugin Plugin         `yaml:"plugin" check:"required"`
	With   map[string]any `yaml:"with"`
}

// Input names an input of the channel's own device.
type Input struct {
	Input string `yaml:"input" check:"required"`
}

// Channel is one sensor on a conductor. Exactly one of Shunt, Magnetic and Reported is set.
type Channel struct {
	Name        string       `yaml:"name" check:"required"`
	Device      string       `yaml:"device" check:"required"`
	Input       string       `yaml:"input" check:"required"`
	Temperature *Input       `yaml:"temperature"` // optional: the sensor's temperature
	Shunt       *Shunt       `yaml:"shunt"`
	Magnetic    *Magnetic    `yaml:"magnetic"`
	Reported    *Reported    `yaml:"reported"`
	Reversed    bool         `yaml:"reversed"`    // mounted backwards: the sign is changed
	Calibration *Calibration `yaml:"calibration"` // optional
	DataSheet   *DataSheet   `yaml:"data_sheet"`  // optional: limits for the uncertainty budget

	NoiseAmperes           float64  `yaml:"noise_amperes" check:"notnegative"`            // standard deviation of one reading
	ZeroUncertaintyAmperes float64  `yaml:"zero_uncertainty_amperes" check:"notnegative"` // standard uncertainty of the zero
	GainUncertaintyRatio   float64  `yaml:"gain_uncertainty_ratio" check:"share"`         // relative standard uncertainty of the gain
	MaximumAmperes         *float64 `yaml:"maximum_amperes" check:"positive"`             // a reading beyond it in magnitude is out of range; default no limit but the converter's
	GapBoundAmperes        *float64 `yaml:"gap_bound_amperes" check:"notnegative"`        // greatest current assumed while nothing was read; default the full scale
}

// DataSheet holds limits that data sheets give beside what the channel states. Each is a greatest deviation, either sign; 0 = not stated. `ampledger budget` takes them in;
// what the daemon states of a reading has none of them.
type DataSheet struct {
	GainDriftPerKelvin        float64 `yaml:"gain_drift_per_kelvin" check:"notnegative,coefficient"` // temperature coefficient of the resistance or sensitivity, where only its limit is known: 20 ppm/K is 20e-6
	YearlyGainDriftRatio      float64 `yaml:"yearly_gain_drift_ratio" check:"share"`                 // long-term stability of the resistance or sensitivity
	ZeroDriftAmperesPerKelvin float64 `yaml:"zero_drift_amperes_per_kelvin" check:"notnegative"`     // offset drift with temperature, of sensor and amplifier
	HysteresisAmperes         float64 `yaml:"hysteresis_amperes" check:"notnegative"`                // magnetic offset, left by the current that flowed before
	LinearityRatio            float64 `yaml:"linearity_ratio" check:"share"`                         // linearity error, of the rated current
	SupplyRatio               float64 `yaml:"supply_ratio" check:"share"`                            // how far off the supply may be that the output follows; where it is measured, how far off its measurement
	ThermoEMFVoltsPerKelvin   float64 `yaml:"thermo_emf_volts_per_kelvin" check:"notnegative"`       // thermo-electric voltage of the shunt's alloy against copper: 1 µV/K is 1e-6
	TerminalKelvin            float64 `yaml:"terminal_kelvin" check:"notnegative"`                   // how much warmer one end of the shunt may be than the other; from the mounting, not from the data sheet
	TerminalOhms              float64 `yaml:"terminal_ohms" check:"notnegative"`                     // resistance of both power terminals with their joints, outside of the sense terminals
}

// Kind names the kind of sensor: shunt, magnetic or reported.
func (ch Channel) Kind() string {
	switch {
	case ch.Shunt != nil:
		return "shunt"
	case ch.Magnetic != nil:
		return "magnetic"
	}
	return "reported"
}

// Converter says how counts or the driver's volts become volts at the converter's input. Not needed where the driver says it.
type Converter struct {
	VoltsPerCount  *float64 `yaml:"volts_per_count" check:"positive"` // default: what the driver says
	ZeroCountVolts *float64 `yaml:"zero_count_volts"`                 // volts at count zero; default: what the driver says
	Bits           int      `yaml:"bits" check:"bits"`                // the converter's resolution, if the driver gives no code range: two's complement
}

// Shunt is a resistance with four-wire sensing, amplified.
type Shunt struct {
	Converter                        `yaml:",inline"`
	ResistanceOhms                   float64      `yaml:"resistance_ohms" check:"positive"`                          // at the reference temperature; or rated_amperes with rated_millivolts, and then made from them
	RatedAmperes                     float64      `yaml:"rated_amperes" check:"positive"`                            // rated current
	RatedMillivolts                  float64      `yaml:"rated_millivolts" check:"positive"`                         // rated drop, as printed on the shunt, instead of resistance_ohms
	Gain                             float64      `yaml:"gain" check:"positive"`                                     // of the amplifier; default 1
	TemperatureCoefficientPerKelvin  float64      `yaml:"temperature_coefficient_per_kelvin" check:"coefficient"`    // linear
	TemperatureCoefficientPerKelvin2 float64      `yaml:"temperature_coefficient_per_kelvin_2" check:"coefficient2"` // quadratic
	ReferenceCelsius                 *float64     `yaml:"reference_celsius" check:"celsius"`                         // default 20
	SelfHeating                      *SelfHeating `yaml:"self_heating"`                                              // where no temperature is wired
}

// SelfHeating is one thermal node: the shunt's rise above ambient.
type SelfHeating struct {
	KelvinPerWatt       float64  `yaml:"kelvin_per_watt" check:"required,positive"`       // thermal resistance to ambient
	TimeConstantSeconds float64  `yaml:"time_constant_seconds" check:"required,positive"` // of the node
	AmbientCelsius      *float64 `yaml:"ambient_celsius" check:"celsius"`                 // default the reference temperature
}

// Magnetic is an isolated sensor with a voltage output.
type Magnetic struct {
	Converter                       `yaml:",inline"`
	VoltsPerAmpere                  float64  `yaml:"volts_per_ampere" check:"required,positive"`             // of primary current, one turn
	ZeroVolts                       float64  `yaml:"zero_volts"`                                             // output at no current
	PrimaryTurns                    int      `yaml:"primary_turns" check:"positive"`                         // default 1
	Supply                          *Supply  `yaml:"supply"`                                                 // if zero and sensitivity follow the supply
	SensitivityCoefficientPerKelvin float64  `yaml:"sensitivity_coefficient_per_kelvin" check:"coefficient"` // relative
	ZeroCoefficientVoltsPerKelvin   float64  `yaml:"zero_coefficient_volts_per_kelvin"`                      //
	ReferenceCelsius                *float64 `yaml:"reference_celsius" check:"celsius"`                      // default 25
	RatedAmperes                    float64  `yaml:"rated_amperes" check:"positive"`                         // nominal measuring range
}

// Supply is a measured supply voltage that a sensor's output follows.
type Supply struct {
	Input        string  `yaml:"input" check:"required"`
	NominalVolts float64 `yaml:"nominal_volts" check:"required,positive"`
}

// Reported is a meter that gives amperes itself.
type Reported struct {
	RatedAmperes float64 `yaml:"rated_amperes" check:"positive"` // its full scale; 0 = not known
}

// Calibration corrects converted amperes x to y = (x - offset_amperes)/gain.
type Calibration struct {
	OffsetAmperes float64  `yaml:"offset_amperes"`
	Gain          *float64 `yaml:"gain" check:"positive"` // default 1
}

// Element is one guard rule; exactly one of the kinds is set.
type Element struct {
	Name          string         `yaml:"name" check:"required"`
	Channel       string         `yaml:"channel"`                                 // the channel it looks at; default the conductor's charge_from
	Direction     string         `yaml:"direction" check:"discharge|charge|both"` // discharge, charge or both (default)
	DropoffRatio  float64        `yaml:"dropoff_ratio" check:"dropoff"`
	Instantaneous *Instantaneous `yaml:"instantaneous"`
	DefiniteTime  *DefiniteTime  `yaml:"definite_time"`
	InverseTime   *InverseTime   `yaml:"inverse_time"`
	Saturation    *Saturation    `yaml:"saturation"`
}

// Instantaneous operates after so many consecutive scans at or above pickup.
type Instantaneous struct {
	PickupAmperes float64 `yaml:"pickup_amperes" check:"required,positive"`
	Scans         int     `yaml:"scans" check:"positive"` // default 1
}

// DefiniteTime operates after a delay above pickup.
type DefiniteTime struct {
	PickupAmperes float64 `yaml:"pickup_amperes" check:"required,positive"`
	DelaySeconds  float64 `yaml:"delay_seconds" check:"required,notnegative"`
}

// InverseTime operates the sooner the higher the current.
type InverseTime struct {
	Curve          string   `yaml:"curve" check:"required"`
	PickupAmperes  float64  `yaml:"pickup_amperes" check:"required,positive"`
	TimeMultiplier float64  `yaml:"time_multiplier" check:"positive"`  // default 1
	ResetSeconds   *float64 `yaml:"reset_seconds" check:"notnegative"` // definite reset time instead of the curve's own
}

// Saturation is raised by so many consecutive saturated scans. Each channel has one, with scans: 1, unless it is written out.
type Saturation struct {
	Scans int `yaml:"scans" check:"positive"`
}
