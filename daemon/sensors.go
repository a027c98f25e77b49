package daemon

import (
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/sensor"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// ChannelSensor is the sensor that a channel would have.
type ChannelSensor struct {
	Conductor *config.Conductor
	Channel   *config.Channel
	Sensor    *sensor.Sensor // nil if Err is not
	RateHertz float64        // of the scans, as the driver states it; 0 = not known
	Assumed   bool           // the driver said nothing: its inputs are taken to be what the channel makes of them
	Err       error          // why there is no sensor
}

// Sensors makes the sensor of each channel as Run would, of what the drivers said of themselves. Hardware that is not bought yet says nothing: then
// the converter is what the configuration says it is, volts without counts if it says nothing either.
func Sensors(c *config.Config, described []Described) (all []ChannelSensor) {
	for i := range c.Conductors {
		conductor := &c.Conductors[i]
		for k := range conductor.Channels {
			each := ChannelSensor{Conductor: conductor, Channel: &conductor.Channels[k]}
			description := descriptionOf(described, each.Channel.Device)
			if each.Assumed = description == nil; each.Assumed {
				description = assumed(*each.Channel)
			}
			each.RateHertz = description.GetNominalRateHertz()
			made, err := sensorConfig(*each.Channel, pipeline.NewInputs(each.Channel.Device, description))
			if each.Err = err; err == nil {
				each.Sensor, each.Err = sensor.New(made)
			}
			all = append(all, each)
		}
	}
	return all
}

func descriptionOf(described []Described, device string) *plugin.Description {
	for _, d := range described {
		if d.Device == device && d.Err == nil {
			return d.Description
		}
	}
	return nil
}

// assumed describes the inputs that a channel wants.
func assumed(ch config.Channel) *plugin.Description {
	unit, converter := unitAmperes, config.Converter{}
	switch {
	case ch.Shunt != nil:
		unit, converter = unitVolts, ch.Shunt.Converter
	case ch.Magnetic != nil:
		unit, converter = unitVolts, ch.Magnetic.Converter
	}
	if converter.VoltsPerCount != nil {
		unit = unitCode
	}
	d := &plugin.Description{Inputs: []*plugin.Input{{Name: ch.Input, Unit: unit}}}
	if ch.Temperature != nil {
		d.Inputs = append(d.Inputs, &plugin.Input{Name: ch.Temperature.Input, Unit: "Cel"})
	}
	if ch.Magnetic != nil && ch.Magnetic.Supply != nil {
		d.Inputs = append(d.Inputs, &plugin.Input{Name: ch.Magnetic.Supply.Input, Unit: unitVolts})
	}
	return d
}
