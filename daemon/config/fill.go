package config

import (
	"path/filepath"
	"strings"
)

const (
	defaultIntervalSeconds  = 60
	defaultAdjustment       = 1 // coulombs: 0.28 mAh
	defaultRetainMegabytes  = 16
	defaultKeepDays         = 35 // a month and a few days
	defaultMostShadows      = 8
	defaultBeforeSeconds    = 1
	defaultAfterSeconds     = 2
	defaultWaveforms        = 256 // megabytes: some five hundred events at 10 000 readings a second
	defaultShuntCelsius     = 20  // what resistances are stated at
	defaultMagneticCelsius  = 25  // what sensor data sheets state at
	defaultDropoffRatio     = 0.95
	defaultSaturationScans  = 1
	defaultRecordings       = "recordings"
	defaultBudget           = 1024 // megabytes
	defaultFile             = 64   // megabytes
	defaultFileSeconds      = 3600
	defaultRowGroup         = 10 // seconds
	defaultInstantaneous    = 1
	defaultTimeMultiplier   = 1
	defaultSocket           = "ampledger.sock"
	defaultPositive         = "discharge"
	defaultElementDirection = "both"
)

// fill puts in the defaults and makes paths start from the file's folder. The configuration was checked before, so a zero is always a
// key that is not there. What hangs on a device's rate (gap_seconds, stale_seconds, summary_scans) stays unsaid until it is known.
func fill(c *Config) {
	c.State = resolve(c.Folder, c.State)
	if c.Listen.Unix = resolve(c.Folder, c.Listen.Unix); c.Listen.Unix == "" {
		c.Listen.Unix = filepath.Join(c.State, defaultSocket)
	}
	c.Candidates = resolve(c.Folder, c.Candidates)
	otherwise(&c.Ledger.IntervalSeconds, defaultIntervalSeconds)
	otherwise(&c.Ledger.AdjustmentCoulombs, defaultAdjustment)
	otherwise(&c.Retain.Megabytes, defaultRetainMegabytes)
	otherwise(&c.Estimates.IntervalSeconds, defaultIntervalSeconds)
	otherwise(&c.Estimates.KeepDays, defaultKeepDays)
	otherwise(&c.Estimates.MostShadows, defaultMostShadows)
	pointed(&c.Abuse.BeforeSeconds, defaultBeforeSeconds)
	pointed(&c.Abuse.AfterSeconds, defaultAfterSeconds)
	otherwise(&c.Abuse.WaveformMegabytes, defaultWaveforms)
	fillRecord(c)
	for i := range c.Devices {
		fillPlugin(&c.Devices[i].Driver, c.Folder)
	}
	for i := range c.Conductors {
		fillConductor(&c.Conductors[i], c.Folder)
	}
}

func fillRecord(c *Config) {
	r := c.Record
	if r == nil {
		return
	}
	if r.Folder = resolve(c.Folder, r.Folder); r.Folder == "" {
		r.Folder = filepath.Join(c.State, defaultRecordings)
	}
	r.fill()
}

// otherwise sets a value that was not said.
func otherwise[T comparable](value *T, standard T) {
	var unsaid T
	if *value == unsaid {
		*value = standard
	}
}

// pointed is otherwise for what may be zero when it is said.
func pointed[T any](value **T, standard T) {
	if *value == nil {
		*value = &standard
	}
}

func fillPlugin(p *Plugin, folder string) {
	p.Path = resolve(folder, p.Path)
	p.SHA256 = strings.ToLower(p.SHA256)
}

func fillConductor(c *Conductor, folder string) {
	otherwise(&c.Positive, defaultPositive)
	otherwise(&c.ChargeFrom, c.Channels[0].Name)
	if c.Estimator != nil {
		fillPlugin(&c.Estimator.Plugin, folder)
	}
	for i := range c.Shadows {
		fillPlugin(&c.Shadows[i].Plugin, folder)
	}
	for i := range c.Channels {
		fillChannel(&c.Channels[i])
	}
	for i := range c.Guard {
		fillElement(&c.Guard[i], c.ChargeFrom)
	}
}

func fillChannel(c *Channel) {
	if c.Shunt != nil {
		fillShunt(c.Shunt)
	}
	if c.Magnetic != nil {
		otherwise(&c.Magnetic.PrimaryTurns, 1)
		pointed(&c.Magnetic.ReferenceCelsius, defaultMagneticCelsius)
	}
	if c.Calibration != nil {
		pointed(&c.Calibration.Gain, 1)
	}
}

func fillShunt(s *Shunt) {
	otherwise(&s.Gain, 1)
	pointed(&s.ReferenceCelsius, defaultShuntCelsius)
	if s.ResistanceOhms == 0 {
		s.ResistanceOhms = s.RatedMillivolts / (1000 * s.RatedAmperes)
	}
	if s.SelfHeating != nil {
		pointed(&s.SelfHeating.AmbientCelsius, *s.ReferenceCelsius)
	}
}

func fillElement(e *Element, charge string) {
	otherwise(&e.Channel, charge)
	otherwise(&e.Direction, defaultElementDirection)
	otherwise(&e.DropoffRatio, defaultDropoffRatio)
	if e.Instantaneous != nil {
		otherwise(&e.Instantaneous.Scans, defaultInstantaneous)
	}
	if e.InverseTime != nil {
		otherwise(&e.InverseTime.TimeMultiplier, defaultTimeMultiplier)
	}
	if e.Saturation != nil {
		otherwise(&e.Saturation.Scans, defaultSaturationScans)
	}
}
