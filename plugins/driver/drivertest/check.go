package drivertest

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/ampledger/ampledger/plugins/plugin"
)

var units = []string{"code", "V", "A", "Cel", "1"}

func checkDescription(d *plugin.Description) error {
	if len(d.GetInputs()) == 0 {
		return errors.New("the device has no inputs")
	}
	if rate := d.GetNominalRateHertz(); !(rate >= 0) || math.IsInf(rate, 0) {
		return fmt.Errorf("nominal rate %v Hz", rate)
	}
	seen := make(map[string]bool)
	for i, input := range d.GetInputs() {
		if seen[input.GetName()] {
			return fmt.Errorf("two inputs are named %q", input.GetName())
		}
		seen[input.GetName()] = true
		if err := checkInput(input); err != nil {
			return fmt.Errorf("input %d, %q: %w", i, input.GetName(), err)
		}
	}
	return nil
}

func checkInput(input *plugin.Input) error {
	isCode := input.GetUnit() == "code"
	switch {
	case input.GetName() == "":
		return errors.New("no name")
	case !slices.Contains(units, input.GetUnit()):
		return fmt.Errorf("unit %q is none of %q", input.GetUnit(), units)
	case !isCode && (input.GetCodeRangeKnown() || input.GetVoltsPerCode() != 0 || input.GetZeroCodeVolts() != 0):
		return fmt.Errorf("a converter is described and the unit is %q", input.GetUnit())
	case input.GetCodeRangeKnown() && input.GetMinimumCode() >= input.GetMaximumCode():
		return fmt.Errorf("codes from %d to %d", input.GetMinimumCode(), input.GetMaximumCode())
	}
	return nil
}

// Frames gives a function that takes the frames of one stream in their order, and gives an error for one that the daemon would not take.
func Frames(d *plugin.Description) func(*plugin.Frame) error {
	c := &checker{description: d}
	return c.check
}

// checker follows a stream.
type checker struct {
	description *plugin.Description
	frames      int
	next        uint64 // least sequence that the next frame may have
}

func (c *checker) check(f *plugin.Frame) error {
	if err := c.checkFrame(f); err != nil {
		return fmt.Errorf("frame %d: %w", c.frames, err)
	}
	c.frames++
	c.next = f.GetFirstSequence() + uint64(f.GetScanCount())
	return nil
}

func (c *checker) checkFrame(f *plugin.Frame) error {
	inputs, scans := c.description.GetInputs(), int(f.GetScanCount())
	switch {
	case scans == 0:
		return errors.New("no scans")
	case f.GetFirstSequence() < c.next:
		return fmt.Errorf("sequence %d comes after %d", f.GetFirstSequence(), c.next-1)
	case len(f.GetColumns()) != len(inputs):
		return fmt.Errorf("%d columns for %d inputs", len(f.GetColumns()), len(inputs))
	}
	if err := checkTimes(f, scans); err != nil {
		return err
	}
	for i, column := range f.GetColumns() {
		if err := checkColumn(column, inputs[i], scans); err != nil {
			return fmt.Errorf("column %d, %q: %w", i, inputs[i].GetName(), err)
		}
	}
	return nil
}

// checkTimes leaves their order alone: times that repeat or run backwards are the daemon's to flag.
func checkTimes(f *plugin.Frame, scans int) error {
	offsets := f.GetOffsetNanos()
	switch {
	case f.GetPeriodNanos() < 0:
		return fmt.Errorf("period %d ns", f.GetPeriodNanos())
	case f.GetTimeUncertaintyNanos() < 0:
		return fmt.Errorf("uncertainty of the time %d ns", f.GetTimeUncertaintyNanos())
	case f.GetPeriodNanos() > 0 && len(offsets) > 0:
		return fmt.Errorf("a period and %d offsets", len(offsets))
	case f.GetPeriodNanos() == 0 && len(offsets) != scans:
		return fmt.Errorf("%d offsets for %d scans and no period", len(offsets), scans)
	case len(offsets) > 0 && offsets[0] != 0:
		return fmt.Errorf("the first offset is %d ns, want 0", offsets[0])
	}
	return nil
}

func checkColumn(column *plugin.Column, input *plugin.Input, scans int) error {
	codes, values, isCode := column.GetCodes(), column.GetValues(), input.GetUnit() == "code"
	count := len(codes) + len(values)
	switch {
	case isCode && len(values) > 0, !isCode && len(codes) > 0:
		return fmt.Errorf("%d codes and %d values for an input in unit %q", len(codes), len(values), input.GetUnit())
	case count != scans && count != 1:
		return fmt.Errorf("%d values for %d scans", count, scans)
	}
	for i, code := range codes {
		if input.GetCodeRangeKnown() && (code < input.GetMinimumCode() || code > input.GetMaximumCode()) {
			return fmt.Errorf("value %d: code %d is not within %d to %d", i, code, input.GetMinimumCode(), input.GetMaximumCode())
		}
	}
	return checkAbsent(column.GetAbsentIndices(), scans)
}

func checkAbsent(indices []uint32, scans int) error {
	for i, index := range indices {
		if int(index) >= scans {
			return fmt.Errorf("absent index %d in %d scans", index, scans)
		}
		if i > 0 && index <= indices[i-1] {
			return fmt.Errorf("absent index %d comes after %d", index, indices[i-1])
		}
	}
	return nil
}
