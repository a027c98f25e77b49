package pipeline

import (
	"fmt"
	"strings"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// Inputs is what a driver says of a device.
type Inputs struct {
	Device    string
	described []*plugin.Input
}

// NewInputs takes a driver's description.
func NewInputs(device string, description *plugin.Description) Inputs {
	return Inputs{device, description.GetInputs()}
}

// Find gives the column and the description of an input, or an error that says what there is.
func (in Inputs) Find(name string) (column int, input *plugin.Input, err error) {
	var names []string
	for i, candidate := range in.described {
		if candidate.GetName() == name {
			return i, candidate, nil
		}
		names = append(names, candidate.GetName())
	}
	return 0, nil, fmt.Errorf("device %s has no input %q; it has %s", in.Device, name, strings.Join(names, ", "))
}
