package physics

import "math"

// domains is a core of a Material. Its state moves along He, in which the law of Mirr is linear and is solved exactly for an
// anhysteretic curve taken as straight over a sub-step: nothing can overshoot, whatever the step.
type domains struct {
	material Material
	substep  float64 // longest, in A/m
	perMeter float64
	field    float64 // H
	now      magnetised
	gain     float64 // dHe/dH as last seen, to guess the next from
}

// magnetised is the core at one effective field.
type magnetised struct {
	effective    float64 // He
	anhysteretic float64 // Man(He)
	irreversible float64 // Mirr
}

func (d *domains) magnetisation() float64 { return d.of(d.now) }

func (d *domains) of(m magnetised) float64 {
	return m.irreversible + float64(d.material.C*(m.anhysteretic-m.irreversible))
}

// Advance implements Core.
func (d *domains) Advance(amperes float64) float64 {
	most := 10 * d.material.FullScaleAmperes
	if to := min(max(amperes, -most), most) * d.perMeter; to != d.field {
		d.moveTo(to)
	}
	return d.material.ScaleMeters * (1 - d.material.C) * (d.now.irreversible - d.now.anhysteretic)
}

// moveTo goes to another field in equal sub-steps.
func (d *domains) moveTo(to float64) {
	from := d.field
	if !(math.Abs(to-from) > 0) {
		return // no number
	}
	steps := math.Ceil(math.Abs(to-from) / d.substep)
	for i := 1.0; i < steps; i++ {
		d.step(from + float64((to-from)*(i/steps)))
	}
	d.step(to)
}

// step finds the effective field that belongs to a field: He − α·M only rises with He, and is found by Newton's method between bounds
// that close in. The last correction is small enough to be taken along the tangent, which leaves an error of its square.
func (d *domains) step(to float64) {
	direction := math.Copysign(1, to-d.field)
	near, far := d.now.effective, to+1.001*direction*d.material.Alpha*d.material.MsAmperesPerMeter
	effective := d.now.effective + d.gain*(to-d.field)
	next, slope, further := d.now, tangent{}, 0.0
	for range 60 {
		if (effective-near)*direction < 0 || (far-effective)*direction < 0 {
			effective = near + (far-near)/2
		}
		next, slope = d.at(effective, direction)
		miss := effective - float64(d.material.Alpha*d.of(next)) - to
		if further = -miss / slope.field; math.Abs(further) <= 1e-4*d.material.AAmperesPerMeter {
			break
		}
		if miss*direction < 0 {
			near = effective
		} else {
			far = effective
		}
		effective += further
	}
	d.field, d.gain = to, 1/slope.field
	if (next.effective+further-d.now.effective)*direction <= 0 {
		return // so short a way is within the error of the last step
	}
	next.effective += further
	next.anhysteretic += slope.anhysteretic * further
	next.irreversible += slope.irreversible * further
	d.now = next
}

// tangent is how a core changes with its effective field; field is dH/dHe.
type tangent struct{ anhysteretic, irreversible, field float64 }

// at gives the core if the effective field were moved to a value in a direction, and how it changes there.
func (d *domains) at(effective, direction float64) (next magnetised, slope tangent) {
	m := &d.material
	shape, rise := langevin(effective / m.AAmperesPerMeter)
	next = magnetised{effective, m.MsAmperesPerMeter * shape, d.now.irreversible}
	slope.anhysteretic = m.MsAmperesPerMeter * rise / m.AAmperesPerMeter
	lag := (next.anhysteretic - d.now.irreversible) * direction
	if lag > 0 {
		lag = d.lag(next, direction)
		next.irreversible = next.anhysteretic - lag*direction
		slope.irreversible = lag / m.KAmperesPerMeter
	}
	susceptibility := slope.irreversible + float64(m.C*(slope.anhysteretic-slope.irreversible)) // dM/dHe
	slope.field = max(1-float64(m.Alpha*susceptibility), 1e-3)
	return next, slope
}

// lag gives by how much Mirr stays behind Man at the end of a step that ends with Man ahead. Along the way x it obeys
// lag' = rise − lag/k, from the lag that there was or, if Mirr was ahead and waited, from 0 where Man had caught up.
func (d *domains) lag(next magnetised, direction float64) float64 {
	way := math.Abs(next.effective - d.now.effective)
	was := (d.now.anhysteretic - d.now.irreversible) * direction
	if way == 0 {
		return was
	}
	k, rise := d.material.KAmperesPerMeter, (next.anhysteretic-d.now.anhysteretic)*direction/way
	if was < 0 {
		way, was = way+was/rise, 0
	}
	return was + (float64(rise*k)-was)*forgotten(way/k)
}

// forgotten gives 1 − exp(−x) for x not below zero. Near zero, where that would leave few digits, it is a series.
func forgotten(x float64) float64 {
	if x < 0.02 {
		return x * (1 - x*(1./2-x*(1./6-x*(1./24-x*(1./120)))))
	}
	return 1 - math.Exp(-x)
}
