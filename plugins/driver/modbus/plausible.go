package modbus

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/ampledger/ampledger/plugins/driver/modbus/register"
)

// value gives the input of an answer in its unit.
func (in *input) value(registers []byte) float64 { return in.Field.Value(registers) * in.scale }

// plausible gives an error for each input of a first answer that cannot be, with the orders in which it could.
func (r *read) plausible(registers []byte) error {
	var faults []error
	for i := range r.inputs {
		in := &r.inputs[i]
		if value := in.value(registers); !in.believes(value) {
			faults = append(faults, fmt.Errorf("%v: input %q reads %.5g %s, plausible are %g to %g: %s", r, in.Name, value, in.Unit,
				in.plausible[0], in.plausible[1], in.suspect(registers)))
		}
	}
	return errors.Join(faults...)
}

// leastShare is what a float that is not 0 is of the greater limit at least: in the wrong order many are near to nothing, and so within any limits around
// 0, while no converter resolves 40 bits.
const leastShare = 1e-12

// believes tells whether a value may be; NaN may not where anything is said.
func (in *input) believes(value float64) bool {
	if in.plausible == nil {
		return true
	}
	least, greatest := in.plausible[0], in.plausible[1]
	if value != 0 && math.Abs(value) < leastShare*max(math.Abs(least), math.Abs(greatest)) {
		return false
	}
	return value >= least && value <= greatest
}

// suspect says what may be wrong with an implausible input.
func (in *input) suspect(registers []byte) string {
	var others []string
	for _, order := range register.Orders {
		other := *in
		other.Order = order
		if in.Type.Words() == 1 && order != register.ABCD && order != register.BADC {
			continue
		}
		if value := other.value(registers); order != in.Order && in.believes(value) {
			others = append(others, fmt.Sprintf("%s reads %.5g %s", order, value, in.Unit))
		}
	}
	if len(others) == 0 {
		return "see address, type and scale, no other order is plausible either"
	}
	return fmt.Sprintf("see the order, where %s; else address, type and scale", strings.Join(others, ", "))
}
