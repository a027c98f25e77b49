package simulate

import (
	"errors"
	"fmt"
	"math"

	"github.com/ampledger/ampledger/plugins/driver/internal/playback"
	"github.com/ampledger/ampledger/plugins/driver/replay/table"
	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
)

// settings are those of the package comment.
type settings struct {
	Seed            uint64              `json:"seed"`
	RateHertz       float64             `json:"rate_hertz"`
	DurationSeconds float64             `json:"duration_seconds"`
	Duty            []segmentSettings   `json:"duty"`
	Repeat          bool                `json:"repeat"`
	Temperature     temperatureSettings `json:"temperature"`
	Shunt           *shuntSettings      `json:"shunt"`
	Magnetic        *magneticSettings   `json:"magnetic"`
	Faults          []faultSettings     `json:"faults"`
	Truth           bool                `json:"truth"`
	Speed           float64             `json:"speed"`
	FrameScans      int                 `json:"frame_scans"`
	WallStart       string              `json:"wall_start"`
}

type temperatureSettings struct {
	MeanCelsius   float64 `json:"mean_celsius"`
	SwingKelvin   float64 `json:"swing_kelvin"`
	PeriodSeconds float64 `json:"period_seconds"`
}

func defaults() settings {
	return settings{Speed: 1, Temperature: temperatureSettings{MeanCelsius: 25, PeriodSeconds: 86400}}
}

// The bounds of the rate keep the time between scans well within whole nanoseconds on both sides.
const (
	leastHertz = 0.001
	mostHertz  = 1e6
)

const maxNanos = table.MaxSeconds * 1_000_000_000

// refusals collects what is wrong, each with its key.
type refusals []error

func (r *refusals) add(key, format string, values ...any) {
	*r = append(*r, fmt.Errorf("setting %q: %w", key, fmt.Errorf(format, values...)))
}

// nanos reads a length of time that must be above zero.
func (r *refusals) nanos(key string, seconds float64) int64 {
	if !(seconds >= 1e-9 && seconds <= table.MaxSeconds) {
		r.add(key, "%v s is not within 1e-09 to %d", seconds, int64(table.MaxSeconds))
		return 1
	}
	return int64(math.Round(seconds * 1e9))
}

// since reads a length of time that may be zero.
func (r *refusals) since(key string, seconds float64) int64 {
	if seconds == 0 {
		return 0
	}
	return r.nanos(key, seconds)
}

// notNegative refuses figures below zero, and such as are no number.
func (r *refusals) notNegative(key string, value float64) {
	if !(value >= 0) {
		r.add(key, "%v is below zero", value)
	}
}

// positive refuses figures that are not above zero.
func (r *refusals) positive(key string, value float64) {
	if !(value > 0) {
		r.add(key, "%v is not above zero", value)
	}
}

// check gives the plan, or all faults.
func (s *settings) check() (*plan, error) {
	var r refusals
	rig := physics.Rig{PeriodNanos: 1}
	plan := &plan{seed: s.Seed, truth: s.Truth, endless: s.DurationSeconds == 0}
	if !(s.RateHertz >= leastHertz && s.RateHertz <= mostHertz) {
		r.add("rate_hertz", "%v is not within %v to %v", s.RateHertz, leastHertz, mostHertz)
	} else {
		rig.PeriodNanos = int64(math.Round(1e9 / s.RateHertz))
	}
	rig.Scans = maxNanos / rig.PeriodNanos
	if !plan.endless {
		rig.Scans = (r.nanos("duration_seconds", s.DurationSeconds) + rig.PeriodNanos - 1) / rig.PeriodNanos
	}
	rig.Duty = s.duty(&r)
	t := s.Temperature
	rig.Ambient = physics.Ambient{MeanCelsius: t.MeanCelsius, SwingKelvin: t.SwingKelvin, PeriodNanos: r.nanos("temperature.period_seconds", t.PeriodSeconds)}
	rig.Shunt, rig.Magnetic = s.Shunt.check(&r), s.Magnetic.check(&r)
	rig.Faults = s.faults(&rig, &r)
	plan.rig = &rig
	pace, err := playback.Settings{Speed: s.Speed, FrameScans: s.FrameScans, WallStart: s.WallStart}.Check()
	plan.playback = pace
	if err != nil {
		r = append(r, err)
	}
	if len(r) > 0 {
		return nil, errors.Join(r...)
	}
	return plan, nil
}
