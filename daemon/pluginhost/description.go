package pluginhost

import (
	"errors"
	"fmt"
	"slices"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// units are those an input can have.
var units = []string{"code", "V", "A", "Cel", "1"}

// CheckDescription refuses a description that cannot be meant, and says which input is at fault.
func CheckDescription(d *plugin.Description) error {
	if len(d.GetInputs()) == 0 {
		return errors.New("describes no input")
	}
	if rate := d.GetNominalRateHertz(); !usable(rate) || rate < 0 {
		return fmt.Errorf("describes a rate of %g Hz", rate)
	}
	var names []string
	for i, input := range d.GetInputs() {
		switch name := input.GetName(); {
		case name == "":
			return fmt.Errorf("describes input %d without a name", i)
		case slices.Contains(names, name):
			return fmt.Errorf("describes two inputs named %q", name)
		}
		names = append(names, input.GetName())
		if err := checkInput(input); err != nil {
			return fmt.Errorf("input %q: %w", input.GetName(), err)
		}
	}
	return nil
}

func checkInput(input *plugin.Input) error {
	switch least, greatest := input.GetMinimumCode(), input.GetMaximumCode(); {
	case !slices.Contains(units, input.GetUnit()):
		return fmt.Errorf("unit %q is none of %q", input.GetUnit(), units)
	case input.GetCodeRangeKnown() && least >= greatest:
		return fmt.Errorf("code range %d…%d is empty", least, greatest)
	case !usable(input.GetVoltsPerCode()) || !usable(input.GetZeroCodeVolts()):
		return fmt.Errorf("converter of %g V for each code and %g V at code zero makes no sense", input.GetVoltsPerCode(), input.GetZeroCodeVolts())
	}
	return nil
}
