package simulate

import (
	"fmt"

	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
)

type hysteresisSettings struct {
	Model             string             `json:"model"`
	Operators         []operatorSettings `json:"operators"`
	RemanenceAmperes  *float64           `json:"remanence_amperes"`
	FullScaleAmperes  *float64           `json:"full_scale_amperes"`
	CoerciveShare     *float64           `json:"coercive_share"`
	MsAmperesPerMeter *float64           `json:"ms_amperes_per_meter"`
	AAmperesPerMeter  *float64           `json:"a_amperes_per_meter"`
	KAmperesPerMeter  *float64           `json:"k_amperes_per_meter"`
	C                 *float64           `json:"c"`
	Alpha             *float64           `json:"alpha"`
	PathMeters        *float64           `json:"path_meters"`
	ScaleMeters       *float64           `json:"scale_meters"`
}

type operatorSettings struct {
	HalfWidthAmperes float64 `json:"half_width_amperes"`
	WeightAmperes    float64 `json:"weight_amperes"`
}

const hysteresisKey = "magnetic.hysteresis"

// check gives the model, or nil if there is none or it is refused.
func (s *hysteresisSettings) check(r *refusals) physics.Hysteresis {
	if s == nil {
		return nil
	}
	before := len(*r)
	var model physics.Hysteresis
	switch s.Model {
	case "play":
		model = s.play(r)
	case "jiles-atherton":
		model = s.material(r)
	default:
		r.add(hysteresisKey+".model", "%q is none, give play or jiles-atherton", s.Model)
	}
	if len(*r) > before {
		return nil
	}
	return model
}

// refuse refuses keys that are given and have no meaning.
func refuse(r *refusals, why string, given map[string]bool, order ...string) {
	for _, key := range order {
		if given[key] {
			r.add(hysteresisKey+"."+key, "%s", why)
		}
	}
}

func (s *hysteresisSettings) play(r *refusals) physics.Hysteresis {
	refuse(r, "is a figure of jiles-atherton, the model is play", map[string]bool{
		"coercive_share": s.CoerciveShare != nil, "ms_amperes_per_meter": s.MsAmperesPerMeter != nil, "a_amperes_per_meter": s.AAmperesPerMeter != nil,
		"k_amperes_per_meter": s.KAmperesPerMeter != nil, "c": s.C != nil, "alpha": s.Alpha != nil, "path_meters": s.PathMeters != nil, "scale_meters": s.ScaleMeters != nil,
	}, "coercive_share", "ms_amperes_per_meter", "a_amperes_per_meter", "k_amperes_per_meter", "c", "alpha", "path_meters", "scale_meters")
	if len(s.Operators) == 0 {
		if s.RemanenceAmperes == nil || s.FullScaleAmperes == nil {
			r.add(hysteresisKey, "give operators, or remanence_amperes and full_scale_amperes")
			return nil
		}
		r.positive(hysteresisKey+".full_scale_amperes", *s.FullScaleAmperes)
		return physics.Remanent(*s.RemanenceAmperes, *s.FullScaleAmperes)
	}
	refuse(r, "does not go with operators, whose weights say it", map[string]bool{
		"remanence_amperes": s.RemanenceAmperes != nil, "full_scale_amperes": s.FullScaleAmperes != nil,
	}, "remanence_amperes", "full_scale_amperes")
	var all physics.Play
	for i, o := range s.Operators {
		r.positive(fmt.Sprintf("%s.operators[%d].half_width_amperes", hysteresisKey, i), o.HalfWidthAmperes)
		all = append(all, physics.Operator(o))
	}
	return all
}

func (s *hysteresisSettings) material(r *refusals) physics.Hysteresis {
	before := len(*r)
	if len(s.Operators) > 0 {
		r.add(hysteresisKey+".operators", "are of play, the model is jiles-atherton")
	}
	if (s.RemanenceAmperes == nil) == (s.ScaleMeters == nil) {
		r.add(hysteresisKey, "give one of remanence_amperes and scale_meters")
	}
	if s.KAmperesPerMeter != nil && s.CoerciveShare != nil {
		r.add(hysteresisKey+".coercive_share", "does not go with k_amperes_per_meter, which says it")
	}
	m := s.figures(r)
	if len(*r) > before {
		return nil
	}
	var err error
	if s.KAmperesPerMeter == nil {
		if m, err = m.WithCoerciveShare(or(s.CoerciveShare, 0.01)); err != nil {
			r.add(hysteresisKey+".coercive_share", "%w", err)
			return nil
		}
	}
	if s.ScaleMeters == nil {
		if m, err = m.WithRemanence(*s.RemanenceAmperes); err != nil {
			r.add(hysteresisKey+".remanence_amperes", "%w", err)
		}
	}
	return m
}

// figures gives the material as far as it is stated.
func (s *hysteresisSettings) figures(r *refusals) physics.Material {
	fullScale := or(s.FullScaleAmperes, 0)
	path := or(s.PathMeters, 0.1)
	m, before := physics.Default(fullScale, path), len(*r)
	m.MsAmperesPerMeter = or(s.MsAmperesPerMeter, m.MsAmperesPerMeter)
	m.AAmperesPerMeter = or(s.AAmperesPerMeter, m.AAmperesPerMeter)
	m.Alpha = or(s.Alpha, m.AAmperesPerMeter/m.MsAmperesPerMeter)
	m.C, m.KAmperesPerMeter, m.ScaleMeters = or(s.C, m.C), or(s.KAmperesPerMeter, 0), or(s.ScaleMeters, 0)
	for _, c := range []struct {
		key   string
		value float64
	}{
		{"full_scale_amperes", fullScale}, {"path_meters", path}, {"ms_amperes_per_meter", m.MsAmperesPerMeter},
		{"a_amperes_per_meter", or(s.AAmperesPerMeter, 1)}, {"k_amperes_per_meter", or(s.KAmperesPerMeter, 1)},
	} {
		r.positive(hysteresisKey+"."+c.key, c.value)
	}
	if !(m.C >= 0 && m.C < 1) {
		r.add(hysteresisKey+".c", "%v is not within 0 and below 1", m.C)
	}
	if most := 3 * m.AAmperesPerMeter / m.MsAmperesPerMeter; len(*r) == before && !(m.Alpha >= 0 && m.Alpha < most) {
		r.add(hysteresisKey+".alpha", "%v is not within 0 and below 3·a/Ms, %v; from there on the magnetisation would jump", m.Alpha, most)
	}
	return m
}
