package design

import (
	"fmt"
	"math"
	"strings"
)

// conclude says what the figures mean.
func (g group) conclude(segments []Best) (all []string) {
	for _, celsius := range g.study.Question.Celsius {
		if text := g.surest(segments, celsius); text != "" {
			all = append(all, text)
		}
	}
	all = append(all, g.charges()...)
	for _, about := range []func(i int, name string) string{g.silent, g.reaches, g.power, g.barrier, g.lost} {
		for k, i := range g.members {
			if text := about(i, g.names[k]); text != "" {
				all = append(all, text)
			}
		}
	}
	return all
}

// surest says which channel reads best where, at one temperature.
func (g group) surest(segments []Best, celsius float64) string {
	var parts []string
	for _, b := range segments {
		if b.Celsius != celsius {
			continue
		}
		parts = append(parts, g.part(b))
	}
	if len(parts) == 0 {
		return ""
	}
	return fmt.Sprintf("At %.4g °C %s.", celsius, strings.Join(parts, "; "))
}

// alike is the ratio below which two uncertainties are not worth telling apart.
const alike = 1.05

func (g group) part(b Best) string {
	where := fmt.Sprintf("from %.4g A to %.4g A", b.FromAmperes, b.ToAmperes)
	if b.FromAmperes == 0 {
		where = fmt.Sprintf("below %.4g A", b.ToAmperes)
	}
	switch {
	case b.NextExpanded == nil:
		return fmt.Sprintf("%s only %s reads (±%.2g A at %.3g A)", where, b.Channel, b.Expanded, b.AtAmperes)
	case *b.NextExpanded < alike*b.Expanded:
		return fmt.Sprintf("%s %s and %s are about equally sure (±%.2g A at %.3g A)", where, b.Channel, b.NextChannel, b.Expanded, b.AtAmperes)
	}
	return fmt.Sprintf("%s %s is the surest (±%.2g A at %.3g A, %s ±%.2g A)", where, b.Channel, b.Expanded, b.AtAmperes, b.NextChannel, *b.NextExpanded)
}

// charges compares what a day's charge is worth at the first current, with and without rests.
func (g group) charges() []string {
	current, celsius := g.study.usual(g.members)[0], g.study.Question.Celsius[0]
	var alone, rests []string
	for k, i := range g.members {
		first := g.study.Channels[i].Cases[0]
		if first.OutOfRange || !g.study.candidates[i].told() {
			continue
		}
		alone = append(alone, fmt.Sprintf("±%.2g Ah with %s", first.Charge[1].AloneAmpereHours, g.names[k]))
		rests = append(rests, fmt.Sprintf("±%.2g Ah with %s", first.Charge[1].RestsAmpereHours, g.names[k]))
	}
	if len(alone) < 2 {
		return nil
	}
	return []string{fmt.Sprintf("A day's charge at %.4g A and %.4g °C is known to %s if nobody shows the zero, and to %s with rests.", current, celsius,
		strings.Join(alone, " and "), strings.Join(rests, " and "))}
}

// silent tells of a channel that is not compared.
func (g group) silent(i int, name string) string {
	if g.study.candidates[i].told() {
		return ""
	}
	return fmt.Sprintf("Nothing is stated of what makes %s uncertain, neither noise nor zero nor gain: it is not compared.", name)
}

// reaches tells of a current asked for that a channel does not read.
func (g group) reaches(i int, name string) string {
	least := math.Inf(1)
	for _, a := range g.study.usual(g.members) {
		if !g.study.candidates[i].Sensor.Reads(a) && math.Abs(a) < math.Abs(least) {
			least = a
		}
	}
	if math.IsInf(least, 1) {
		return ""
	}
	return fmt.Sprintf("%s does not read %.4g A: it saturates before.", name, least)
}

func (g group) power(i int, name string) string {
	s := g.study.Channels[i].Shunt
	if s == nil || s.RatedWatts == nil {
		return ""
	}
	text := fmt.Sprintf("%s turns %.3g W into heat at its rated %.4g A, %.3g kWh in a day of it", name, *s.RatedWatts, *s.RatedAmperes, *s.RatedWattHoursPerDay/1000)
	for k, other := range g.members {
		if g.study.Channels[other].Magnetic != nil {
			return text + "; " + g.names[k] + " takes nothing from the conductor."
		}
	}
	return text + "."
}

func (g group) barrier(i int, name string) string {
	isolation := g.study.Channels[i].Isolation
	switch {
	case isolation.Needed == nil:
		return ""
	case *isolation.Needed:
		return fmt.Sprintf("Isolation must be added behind %s: the conductor is at up to %.4g V, above %d V d.c.", name, *isolation.WorkingVolts, TouchVolts)
	case isolation.Isolated && *isolation.WorkingVolts > TouchVolts:
		return fmt.Sprintf("%s isolates by its principle; its data sheet must state %.4g V or more.", name, *isolation.WorkingVolts)
	}
	return ""
}

func (g group) lost(i int, name string) string {
	r := g.study.Channels[i].Range
	if r.LostAmperes == nil || *r.LostAmperes == 0 {
		return ""
	}
	return fmt.Sprintf("A change of less than %.2g A may leave no trace in %s: its counts are coarser than its noise.", *r.LostAmperes, name)
}
