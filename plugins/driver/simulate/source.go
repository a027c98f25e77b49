package simulate

import (
	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// source is one input: a code or a value of each scan.
type source struct {
	input *plugin.Input
	code  func(*physics.Scan) int32   // nil = has values
	value func(*physics.Scan) float64 // nil = has codes
	fails physics.Inputs              // the one it is of those that can fail
}

// read appends what a scan has for the input; at is the scan's index.
func (s *source) read(scan *physics.Scan, at uint32, to *plugin.Column) {
	if s.code != nil {
		to.Codes = append(to.Codes, s.code(scan))
	} else {
		to.Values = append(to.Values, s.value(scan))
	}
	if scan.Absent&s.fails != 0 {
		to.AbsentIndices = append(to.AbsentIndices, at)
	}
}

// sources gives the inputs in their order.
func (p *plan) sources() []source {
	var all, truth []source
	if s := p.rig.Shunt; s != nil {
		all = append(all,
			codes(physics.ShuntCode, &s.Converter, func(s *physics.Scan) int32 { return s.Shunt.Code }),
			failing(physics.ShuntCelsius, "Cel", func(s *physics.Scan) float64 { return s.Shunt.Celsius }))
		truth = append(truth, values("shunt_true_offset_amperes", "A", func(s *physics.Scan) float64 { return s.Shunt.TrueOffsetAmperes }))
	}
	if m := p.rig.Magnetic; m != nil {
		all = append(all,
			codes(physics.MagneticCode, &m.Converter, func(s *physics.Scan) int32 { return s.Magnetic.Code }),
			failing(physics.MagneticCelsius, "Cel", func(s *physics.Scan) float64 { return s.Magnetic.Celsius }))
		truth = append(truth, values("magnetic_true_offset_amperes", "A", func(s *physics.Scan) float64 { return s.Magnetic.TrueOffsetAmperes }))
		if m.Supply != nil {
			all = append(all, failing(physics.SupplyVolts, "V", func(s *physics.Scan) float64 { return s.SupplyVolts }))
		}
	}
	all = append(all, values("true_amperes", "A", func(s *physics.Scan) float64 { return s.TrueAmperes }),
		failing(physics.ContactorOpen, "1", contactorOpen))
	if p.truth {
		all = append(all, truth...)
	}
	return all
}

func codes(of physics.Input, c *physics.Converter, code func(*physics.Scan) int32) source {
	return source{fails: 1 << of, code: code, input: &plugin.Input{
		Name: of.String(), Unit: "code", CodeRangeKnown: true,
		MinimumCode: int32(c.LeastCode), MaximumCode: int32(c.MostCode),
		VoltsPerCode: c.VoltsPerCode, ZeroCodeVolts: c.ZeroCodeVolts,
	}}
}

func values(name, unit string, value func(*physics.Scan) float64) source {
	return source{value: value, input: &plugin.Input{Name: name, Unit: unit}}
}

func failing(of physics.Input, unit string, value func(*physics.Scan) float64) source {
	s := values(of.String(), unit, value)
	s.fails = 1 << of
	return s
}

// contactorOpen is 1 while no current can flow, so the input says.
func contactorOpen(s *physics.Scan) float64 {
	if s.ContactorOpen {
		return 1
	}
	return 0
}
