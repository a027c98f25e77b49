package iio

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// The units are those of Documentation/ABI/testing/sysfs-bus-iio: after scale and offset millivolts, milliamperes, milli degrees Celsius.
func TestDescribesChannels(t *testing.T) {
	for _, c := range []struct {
		name       string
		attributes map[string]string
		want       *plugin.Input
	}{
		{"volts", map[string]string{"in_voltage0_raw": "1", "in_voltage0_scale": "0.125"},
			&plugin.Input{Name: "voltage0", Unit: "code", VoltsPerCode: 0.000125}},
		{"scale and offset of all volts", map[string]string{"in_voltage3_raw": "1", "in_voltage_scale": "2", "in_voltage_offset": "-2048"},
			&plugin.Input{Name: "voltage3", Unit: "code", VoltsPerCode: 0.002, ZeroCodeVolts: -4.096}},
		{"own before shared", map[string]string{"in_voltage3_raw": "1", "in_voltage_scale": "2", "in_voltage3_scale": "4", "scale": "8"},
			&plugin.Input{Name: "voltage3", Unit: "code", VoltsPerCode: 0.004}},
		{"scale of the device", map[string]string{"in_voltage3_raw": "1", "scale": "8"},
			&plugin.Input{Name: "voltage3", Unit: "code", VoltsPerCode: 0.008}},
		{"difference", map[string]string{"in_voltage0-voltage1_raw": "1", "in_voltage-voltage_scale": "-0.5", "in_voltage_scale": "9"},
			&plugin.Input{Name: "voltage0-voltage1", Unit: "code", VoltsPerCode: -0.0005}},
		{"named", map[string]string{"in_voltage7_supply_raw": "1", "in_voltage_scale": "1"},
			&plugin.Input{Name: "voltage7_supply", Unit: "code", VoltsPerCode: 0.001}},
		{"label", map[string]string{"in_voltage0_raw": "1", "in_voltage0_scale": "1", "in_voltage0_label": "pack"},
			&plugin.Input{Name: "pack", Unit: "code", VoltsPerCode: 0.001}},
		{"scale not known", map[string]string{"in_voltage0_raw": "1"}, &plugin.Input{Name: "voltage0", Unit: "code"}},
		{"volts processed", map[string]string{"in_voltage0_input": "1"}, &plugin.Input{Name: "voltage0", Unit: "V"}},
		{"raw before processed", map[string]string{"in_voltage0_input": "1", "in_voltage0_raw": "1", "in_voltage0_scale": "1"},
			&plugin.Input{Name: "voltage0", Unit: "code", VoltsPerCode: 0.001}},
		{"amperes", map[string]string{"in_current1_raw": "1", "in_current_scale": "0.5"}, &plugin.Input{Name: "current1", Unit: "A"}},
		{"temperature", map[string]string{"in_temp_raw": "1", "in_temp_scale": "125"}, &plugin.Input{Name: "temp", Unit: "Cel"}},
		{"mean is no channel", map[string]string{"in_voltage0_mean_raw": "1", "in_voltage0_peak_raw": "1", "in_temp0_input": "1", "in_accel_x_raw": "1"},
			&plugin.Input{Name: "temp0", Unit: "Cel"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			attributes := map[string]string{"iio:device0/name": "adc"}
			for name, text := range c.attributes {
				attributes["iio:device0/"+name] = text
			}
			got := mustConfigure(t, quiet(), at(tree(t, attributes), with{"mode": "polled", "rate_hertz": 10}))
			want := &plugin.Description{NominalRateHertz: 10, Inputs: []*plugin.Input{c.want}}
			if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestOrderOfAllChannels(t *testing.T) {
	attributes := map[string]string{}
	for _, name := range []string{"voltage10", "voltage9", "current0", "temp", "voltage0-voltage1"} {
		attributes["iio:device0/in_"+name+"_input"] = "1"
	}
	got := mustConfigure(t, quiet(), at(tree(t, attributes), with{"mode": "polled", "rate_hertz": 10}))
	var names []string
	for _, in := range got.Inputs {
		names = append(names, in.Name)
	}
	if got := strings.Join(names, " "); got != "voltage0-voltage1 voltage9 voltage10 temp current0" {
		t.Error(got)
	}
}
