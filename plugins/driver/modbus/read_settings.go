package modbus

import (
	"errors"
	"fmt"

	"github.com/ampledger/ampledger/plugins/driver/modbus/wire"
)

type readSettings struct {
	Server    *int            `json:"server"`
	Registers string          `json:"registers"`
	Inputs    []inputSettings `json:"inputs"`
}

// read is one request and the inputs that its answer holds.
type read struct {
	wire.Request
	inputs []input
}

var functions = map[string]byte{"holding": wire.Holding, "input": wire.Input}

// String names a read for people.
func (r *read) String() string {
	kind := "holding"
	if r.Function == wire.Input {
		kind = "input"
	}
	return fmt.Sprintf("server %d, %s registers %d to %d", r.Server, kind, r.Address, int(r.Address)+r.Count-1)
}

func (s *settings) checkReads() (reads []read, err error) {
	if len(s.Reads) == 0 {
		return nil, missing("reads", "say which registers to read")
	}
	var faults []error
	names := map[string]bool{}
	for i := range s.Reads {
		r, err := s.Reads[i].check(fmt.Sprintf("reads[%d]", i), s.Serial != nil, names)
		reads, faults = append(reads, r), append(faults, err)
	}
	return reads, errors.Join(faults...)
}

// check looks at a read and its inputs; names holds those of all inputs before.
func (s *readSettings) check(key string, serial bool, names map[string]bool) (r read, err error) {
	least, most := 0, 255
	if serial {
		least, most = 1, 247
	}
	server := 1
	if s.Server != nil {
		server = *s.Server
	}
	var faults []error
	if server < least || server > most {
		faults = append(faults, fault(key+".server", fmt.Errorf("%d is not within %d to %d", server, least, most)))
	}
	function, known := functions[s.Registers]
	if !known {
		faults = append(faults, fault(key+".registers", fmt.Errorf("%q is neither holding nor input", s.Registers)))
	}
	if len(s.Inputs) == 0 {
		faults = append(faults, missing(key+".inputs", "say what to read"))
	}
	r = read{Request: wire.Request{Server: byte(server), Function: function}}
	for i := range s.Inputs {
		in, err := s.Inputs[i].check(fmt.Sprintf("%s.inputs[%d]", key, i), names)
		r.inputs, faults = append(r.inputs, in), append(faults, err)
	}
	if err := errors.Join(faults...); err != nil {
		return r, err
	}
	return r, r.span(key)
}

// span finds the registers that hold all inputs, and their places in them.
func (r *read) span(key string) error {
	first, end := r.inputs[0].At, 0
	for _, in := range r.inputs {
		first, end = min(first, in.At), max(end, in.At+in.Type.Words())
	}
	if r.Count = end - first; r.Count > wire.MostRegisters {
		return fault(key, fmt.Errorf("spans the %d registers %d to %d, a request may ask for %d: make several reads of it", r.Count, first, end-1, wire.MostRegisters))
	}
	r.Address = uint16(first)
	for i := range r.inputs {
		r.inputs[i].At -= first
	}
	return nil
}
