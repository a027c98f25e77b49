package sensor

import (
	"errors"
	"math"
)

// Heating is one thermal node between a shunt and its ambient: τ·dϑ/dt = R_th·I²·R − ϑ, with ϑ the rise above ambient.
type Heating struct {
	KelvinPerWatt  float64 // R_th, ≥ 0
	TimeConstant   float64 // τ in seconds, > 0
	AmbientCelsius float64
}

func (h *Heating) validate() error {
	faults := []error{positive("thermal time constant", h.TimeConstant), finite("self-heating", h.KelvinPerWatt, h.AmbientCelsius)}
	if h.KelvinPerWatt < 0 {
		faults = append(faults, errors.New("kelvin per watt is negative"))
	}
	return errors.Join(faults...)
}

// warmth is the node's state. Each interval is taken at the power of the reading at its end, which solves the node exactly for a
// current that holds; the reading itself is converted at the temperature before it.
type warmth struct {
	Heating
	rise     float64
	epoch    uint64
	last     int64
	started  bool
	interval int64   // the interval that decay belongs to
	decay    float64 // exp(−interval/τ)
}

func newWarmth(h *Heating) warmth {
	if h == nil {
		return warmth{}
	}
	return warmth{Heating: *h}
}

func (w *warmth) celsius() float64 { return w.AmbientCelsius + w.rise }

// step moves the node to time now, in ns, with the current that flowed. Time that does not advance, or belongs to another epoch, or a
// current that is not known, moves nothing but the clock.
func (w *warmth) step(epoch uint64, now int64, amperes float64, shunt *Shunt) {
	interval := now - w.last
	valid := w.started && epoch == w.epoch && interval > 0
	if w.started && epoch == w.epoch && interval <= 0 {
		return
	}
	w.epoch, w.last, w.started = epoch, now, true
	if !valid || !isFinite(amperes) {
		return
	}
	if interval != w.interval {
		w.interval, w.decay = interval, math.Exp(-float64(interval)*1e-9/w.TimeConstant)
	}
	slope, _ := shunt.line(w.celsius(), 1)
	resistance := 1 / (slope * shunt.Gain)
	if !(resistance > 0) || !isFinite(resistance) {
		resistance = shunt.ResistanceOhms // far beyond where its coefficients hold
	}
	if settled := w.KelvinPerWatt * amperes * amperes * resistance; isFinite(settled) {
		w.rise = settled + (w.rise-settled)*w.decay
	}
}
