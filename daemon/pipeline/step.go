package pipeline

import (
	"fmt"
	"slices"
)

// Step is a state of a swap.
//
//	Starting → Configured → Restoring → Warming → Shadowing → Swapped
//
// Restoring is left out if no state is kept of the candidate, Shadowing if it is to take over at once. A shadow that is put in force goes
// from nothing to Swapped. From each but Swapped a swap may go to Failed; then the old estimator is in force as before.
type Step uint8

// The steps, in order.
const (
	Starting   Step = iota + 1 // the candidate's process is being started
	Configured                 // it has taken its settings
	Restoring                  // it is given what was kept of it
	Warming                    // it answers the retained summaries
	Shadowing                  // it runs beside the one in force, for the time that was asked for
	Swapped                    // it is in force
	Failed                     // it is not, and has been ended
)

var stepNames = [...]string{"none", "starting", "configured", "restoring", "warming", "shadowing", "swapped", "failed"}

// String names the step.
func (s Step) String() string { return stepNames[s] }

// after lists what may come after each step.
var after = map[Step][]Step{
	0:          {Starting, Swapped, Failed},
	Starting:   {Configured, Starting, Failed}, // again without the state that it did not take
	Configured: {Restoring, Warming, Failed},
	Restoring:  {Warming, Starting, Failed},
	Warming:    {Warming, Shadowing, Swapped, Failed},
	Shadowing:  {Swapped, Failed},
}

// Progress is where a swap stands.
type Progress struct {
	Step       Step
	Generation uint64  // of the candidate
	Fraction   float64 // of Warming: summaries answered of those retained
}

// progress is a swap's state. It belongs to the goroutine of the call.
type progress struct {
	Progress
	tell func(Progress)
}

// untold is of a swap that nobody asked for.
func untold() *progress { return &progress{tell: func(Progress) {}} }

// become takes the next step and tells it. A step that may not come now is a fault of the program.
func (p *progress) become(next Step) {
	if !slices.Contains(after[p.Step], next) {
		panic(fmt.Sprintf("a swap goes from %v to %v", p.Step, next))
	}
	p.Step, p.Fraction = next, 0
	p.tell(p.Progress)
}

// started sees to it that what has started was configured, whether or not its starter said so.
func (p *progress) started(err error) error {
	if err == nil && p.Step == Starting {
		p.become(Configured)
	}
	return err
}

// warmed tells how far the candidate has got with the retained summaries.
func (p *progress) warmed(fraction float64) {
	p.Fraction = fraction
	p.tell(p.Progress)
}
