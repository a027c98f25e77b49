package design_test

import (
	"math"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/design"
)

// Alone, the zero of 0.1 A and the gain of 0.005: in an hour at 20 A √(0.1² + 0.1²) Ah; in a month the net charge is no more than the pack's 280 Ah.
func TestChargeByHand(t *testing.T) {
	q := examine(t, crossing, func(q *design.Question) { q.Amperes = []float64{20} }).Channels[0].Cases[0].Charge
	k := 1.959964
	near(t, "hour", q[0].AloneAmpereHours, k*math.Hypot(0.1, 0.1), 1e-6)
	near(t, "month", q[2].AloneAmpereHours, k*math.Hypot(72, 1.4), 1e-6)
	near(t, "net", q[2].NetAmpereHours, 280, 1e-12)
	near(t, "month with rests", q[2].RestsAmpereHours, k*1.4, 1e-6)
	near(t, "month with both", *q[2].TogetherAmpereHours, k*1.4, 1e-6) // two marks of 2.8 Ah cannot better it
	near(t, "month with marks", *q[2].MarksAmpereHours, k*math.Sqrt(2*2.8*2.8+2*2.8*2.8+2*1.4*1.4), 1e-6)
	if unknown := examine(t, kinds, func(*design.Question) {}).Channels[0].Cases[0].Charge[0]; unknown.MarksAmpereHours != nil || unknown.TogetherAmpereHours != nil {
		t.Errorf("marks of a capacity that nobody stated: %+v", unknown)
	}
}

// What the configured estimator makes of rests: fixedzero holds the first, or each; biasfilter corrects what was counted. The walk is what it is
// told, or takes by itself.
func TestEstimatorsAndRests(t *testing.T) {
	month := func(estimator string) float64 {
		text := crossing
		if estimator != "" {
			text = strings.Replace(crossing, "    channels:", "    estimator: "+estimator+"\n    channels:", 1)
		}
		return examine(t, text, func(q *design.Question) { q.Amperes = []float64{0} }).Channels[0].Cases[0].Charge[2].RestsAmpereHours
	}
	k := 1.959964
	walk := 0.01 // A/√h: a tenth of the zero's 0.1 A
	near(t, "first rest", month("{plugin: fixedzero, with: {walk_amperes_per_root_hour: 0.01}}"), k*walk*math.Sqrt(720*720*720/3.0), 1e-6)
	near(t, "each rest", month("{plugin: fixedzero, with: {zero: each-rest, walk_amperes_per_root_hour: 0.01}}"), k*walk*math.Sqrt(30*24*24*24/3.0), 1e-6)
	near(t, "corrected", month("{plugin: biasfilter}"), k*walk*math.Sqrt(24*24*24/3.0+29*24*24*24/12.0), 1e-6)
	near(t, "told", month("{plugin: biasfilter, with: {channels: {fine: {zero_walk_amperes_per_root_hour: 0.02}}}}"), k*2*walk*math.Sqrt(24*24*24/3.0+29*24*24*24/12.0), 1e-6)
	near(t, "floor", month("{plugin: biasfilter, with: {channels: {fine: {zero_walk_amperes_per_root_hour: 0, floor_amperes: 0.003}}}}"), k*0.003*720, 1e-6)
	near(t, "no estimator", month(""), 0, 0)
}

func TestQuestionsThatAreNone(t *testing.T) {
	for want, change := range map[string]func(q *design.Question){
		"a current of NaN A":                func(q *design.Question) { q.Amperes = []float64{math.NaN()} },
		"-300 °C is no temperature":         func(q *design.Question) { q.Celsius = []float64{-300} },
		"no temperature is asked for":       func(q *design.Question) { q.Celsius = nil },
		"-1 years":                          func(q *design.Question) { q.Years = -1 },
		"a probability of 1":                func(q *design.Question) { q.Probability = 1 },
		"a rate of 0":                       func(q *design.Question) { q.RateHertz = 0 },
		"rests of 600 s every 600 s":        func(q *design.Question) { q.RestEverySeconds = 600 },
		"marks every 0 s":                   func(q *design.Question) { q.MarkEverySeconds = 0 },
		"a mark's uncertainty of 1":         func(q *design.Question) { q.MarkRatio = 1 },
		"a working voltage of -5 V is none": func(q *design.Question) { q.WorkingVolts = -5 },
	} {
		q := design.DefaultQuestion()
		change(&q)
		if _, err := design.Examine(candidatesOf(t, crossing), q); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
		}
	}
	if _, err := design.Examine(nil, design.DefaultQuestion()); err == nil {
		t.Error("a study of nothing")
	}
}
