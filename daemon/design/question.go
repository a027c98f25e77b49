package design

import (
	"errors"
	"fmt"
	"math"
)

// Question is what a study is asked. Every field is as it stands; DefaultQuestion has what is usual.
type Question struct {
	Amperes          []float64 `json:"amperes"`            // empty = what is usual: a tenth of the smallest rated current of what is compared, all of it, and the largest
	Celsius          []float64 `json:"celsius"`            // about the sensors; at least one
	Years            float64   `json:"years"`              // since the gain was last made sure, 0 or more
	Probability      float64   `json:"probability"`        // of the expanded uncertainties, between 0 and 1
	RateHertz        float64   `json:"rate_hertz"`         // taken where no driver states one, greater than 0
	RestEverySeconds float64   `json:"rest_every_seconds"` // greater than 0
	RestSeconds      float64   `json:"rest_seconds"`       // length of a rest, greater than 0 and less than from one to the next
	MarkEverySeconds float64   `json:"mark_every_seconds"` // greater than 0
	MarkRatio        float64   `json:"mark_ratio"`         // standard uncertainty of a mark, of the capacity; greater than 0 and less than 1
	WorkingVolts     float64   `json:"working_volts"`      // goes before the conductors' own; 0 = theirs
}

const (
	hour = 3600.0
	day  = 24 * hour
)

// DefaultQuestion is asked where nothing else is said: at 25 °C and 50 °C, a year after the calibration, a rest of ten minutes a day, a mark of 1 % a week.
func DefaultQuestion() Question {
	return Question{
		Celsius: []float64{25, 50}, Years: 1, Probability: 0.95, RateHertz: 1,
		RestEverySeconds: day, RestSeconds: 600, MarkEverySeconds: 7 * day, MarkRatio: 0.01,
	}
}

// Check tells everything that is wrong with a question.
func (q *Question) Check() (err error) {
	for _, a := range q.Amperes {
		err = errors.Join(err, must(math.Abs(a) <= 1e6, "a current of %g A is none of a battery", a))
	}
	for _, c := range q.Celsius {
		err = errors.Join(err, must(c >= -273.15 && c <= 1000, "%g °C is no temperature of a sensor", c))
	}
	return errors.Join(err,
		must(len(q.Celsius) > 0, "no temperature is asked for"),
		must(q.Years >= 0 && q.Years <= 1000, "%g years are not from 0 to 1000", q.Years),
		must(q.Probability > 0 && q.Probability < 1, "a probability of %g is not between 0 and 1", q.Probability),
		must(q.RateHertz > 0 && q.RateHertz <= 1e9, "a rate of %g readings a second is none", q.RateHertz),
		must(q.RestSeconds > 0 && q.RestSeconds < q.RestEverySeconds && q.RestEverySeconds < 1e12,
			"rests of %g s every %g s: both must be greater than 0, and a rest shorter than the time to the next", q.RestSeconds, q.RestEverySeconds),
		must(q.MarkEverySeconds > 0 && q.MarkEverySeconds < 1e12, "marks every %g s: it must be greater than 0", q.MarkEverySeconds),
		must(q.MarkRatio > 0 && q.MarkRatio < 1, "a mark's uncertainty of %g of the capacity is not between 0 and 1", q.MarkRatio),
		must(q.WorkingVolts >= 0 && q.WorkingVolts <= 1e6, "a working voltage of %g V is none", q.WorkingVolts))
}

func must(holds bool, format string, values ...any) error {
	if holds {
		return nil
	}
	return fmt.Errorf(format, values...)
}
