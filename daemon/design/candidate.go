package design

import (
	"math"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/sensor"
)

// Candidate is a channel that could be built.
type Candidate struct {
	Conductor *config.Conductor
	Channel   *config.Channel
	Sensor    *sensor.Sensor
	RateHertz float64 // of the scans; 0 = not known
	Assumed   bool    // no driver told of the converter
}

// referenceCelsius is the temperature at which the channel's figures hold.
func (c *Candidate) referenceCelsius() float64 {
	switch {
	case c.Channel.Shunt != nil:
		return *c.Channel.Shunt.ReferenceCelsius
	case c.Channel.Magnetic != nil:
		return *c.Channel.Magnetic.ReferenceCelsius
	}
	return reportedCelsius
}

// reportedCelsius is taken for a meter, of which the configuration says nothing: what data sheets state at.
const reportedCelsius = 25

// sheet is the channel's data sheet; one that says nothing if there is none.
func (c *Candidate) sheet() config.DataSheet {
	if c.Channel.DataSheet == nil {
		return config.DataSheet{}
	}
	return *c.Channel.DataSheet
}

// ratedAmperes is the sensor's rated current, else the end of its range; 0 = neither is known.
func (c *Candidate) ratedAmperes() float64 {
	rated := 0.0
	switch ch := c.Channel; {
	case ch.Shunt != nil:
		rated = ch.Shunt.RatedAmperes
	case ch.Magnetic != nil:
		rated = ch.Magnetic.RatedAmperes
	default:
		rated = ch.Reported.RatedAmperes
	}
	if full, known := c.Sensor.FullScale(); rated == 0 && known {
		return full
	}
	return rated
}

// riseKelvin is a shunt's own steady rise at a current; 0 where nothing is stated of it.
func (c *Candidate) riseKelvin(amperes float64) float64 {
	if s := c.Channel.Shunt; s != nil && s.SelfHeating != nil {
		return s.SelfHeating.KelvinPerWatt * amperes * amperes * s.ResistanceOhms
	}
	return 0
}

// amperesPerVolt is what a volt at a magnetic sensor's output, or at a shunt's sense terminals, is worth.
func (c *Candidate) amperesPerVolt() float64 {
	switch ch := c.Channel; {
	case ch.Shunt != nil:
		return 1 / (ch.Shunt.ResistanceOhms * math.Abs(c.Sensor.CalibrationA1))
	case ch.Magnetic != nil:
		return 1 / (ch.Magnetic.VoltsPerAmpere * float64(ch.Magnetic.PrimaryTurns) * math.Abs(c.Sensor.CalibrationA1))
	}
	return 1
}

// declared is a figure that the conductor's estimator is told of the channel.
func (c *Candidate) declared(key string) (value float64, found bool) {
	if c.Conductor.Estimator == nil {
		return 0, false
	}
	channels, _ := c.Conductor.Estimator.With["channels"].(map[string]any)
	own, _ := channels[c.Channel.Name].(map[string]any)
	return number(own[key])
}

func number(setting any) (value float64, is bool) {
	switch v := setting.(type) {
	case float64:
		return v, true
	case int64:
		return float64(v), true
	}
	return 0, false
}
