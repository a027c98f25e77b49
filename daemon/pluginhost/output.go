package pluginhost

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// What bounds the outputs of an estimator.
const (
	mostOutputs    = 32
	mostUnitBytes  = 20
	mostShownBytes = 200
)

var outputName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,39}$`)

// checkOutputs refuses outputs that cannot be meant.
func checkOutputs(outputs []*plugin.Output) error {
	if len(outputs) > mostOutputs {
		return fmt.Errorf("names %d outputs, %d are allowed", len(outputs), mostOutputs)
	}
	seen := map[string]bool{}
	for _, o := range outputs {
		switch name := o.GetName(); {
		case !outputName.MatchString(name):
			return fmt.Errorf("output %q: a name has lower-case letters, digits and _, begins with a letter and has 40 at most", name)
		case seen[name]:
			return fmt.Errorf("output %q is named twice", name)
		case !printable(o.GetUnit(), mostUnitBytes) || o.GetUnit() == "":
			return fmt.Errorf("output %q: %q is no unit; write 1 if it has none", name, o.GetUnit())
		case !printable(o.GetText(), mostShownBytes):
			return fmt.Errorf("output %q: its text is not one line of %d bytes at most", name, mostShownBytes)
		}
		seen[o.GetName()] = true
	}
	return nil
}

func printable(text string, most int) bool {
	return len(text) <= most && strings.ToValidUTF8(text, "") == text && !strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r == 0x7f })
}

// checkValues looks at what an answer says of the outputs.
func checkValues(outputs []*plugin.Output, values []*plugin.OutputValue) error {
	seen := map[string]bool{}
	for _, v := range values {
		named := func(o *plugin.Output) bool { return o.GetName() == v.GetName() }
		switch u := v.GetUncertaintyValue(); {
		case !slices.ContainsFunc(outputs, named):
			return fmt.Errorf("output %q: was not named by Configure", v.GetName())
		case seen[v.GetName()]:
			return fmt.Errorf("output %q: answered twice", v.GetName())
		case !finite(v.GetValue()) || !finite(u) || u < 0:
			return fmt.Errorf("output %q: %g ± %g makes no sense", v.GetName(), v.GetValue(), u)
		}
		seen[v.GetName()] = true
	}
	return nil
}

func finite(v float64) bool { return math.Abs(v) <= math.MaxFloat64 }
