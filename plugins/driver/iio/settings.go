package iio

import (
	"cmp"
	"errors"
	"fmt"
	"math/bits"
	"slices"
	"strings"
)

// settings are those of the package comment.
type settings struct {
	Class       string          `json:"class"`
	Device      choice          `json:"device"`
	Mode        string          `json:"mode"`
	Inputs      []inputSettings `json:"inputs"`
	RateHertz   *float64        `json:"rate_hertz"`
	BufferScans *int            `json:"buffer_scans"`
	Watermark   *int            `json:"watermark"`
	Trigger     string          `json:"trigger"`
	Clock       string          `json:"clock"`
	Sysfs       string          `json:"sysfs"`
	Dev         string          `json:"dev"`
}

type inputSettings struct {
	Channel string `json:"channel"`
	Label   string `json:"label"`
	Name    string `json:"name"`
}

func defaults() settings { return settings{Class: "iio", Dev: "/dev"} }

// plan is what the settings and the device come to.
type plan struct {
	sysfs     folder // of the device
	inputs    []input
	rateHertz float64
	buffer    *bufferPlan // nil = polled
}

const (
	leastHertz      = 0.001
	mostPollHertz   = 1e4
	mostBufferHertz = 1e7
	mostScans       = 1 << 15
)

func fault(key string, err error) error { return fmt.Errorf("setting %q: %w", key, err) }

// check looks at what the settings alone say, then at the device, and gives the plan or all faults of the first kind that has some.
func (s *settings) check() (*plan, error) {
	if err := errors.Join(s.checkClass(), s.checkMode(), s.checkRate(), s.checkBuffer(), s.checkInputs()); err != nil {
		return nil, err
	}
	sysfs := folder(cmp.Or(s.Sysfs, s.class().sysfs))
	device, err := s.Device.find(sysfs, s.class())
	if err != nil {
		return nil, fault("device", err)
	}
	plan := &plan{sysfs: folder(sysfs.path(device.file))}
	if s.RateHertz != nil {
		plan.rateHertz = *s.RateHertz
	}
	if s.Mode == "polled" {
		err = s.planPolled(plan)
	} else {
		err = s.planBuffered(plan, device)
	}
	if err != nil {
		return nil, err
	}
	return plan, uniqueNames(plan.inputs)
}

func (s *settings) checkMode() error {
	if s.Mode == "polled" || s.Mode == "buffered" {
		return nil
	}
	return fault("mode", fmt.Errorf("%q is neither polled nor buffered", s.Mode))
}

func (s *settings) checkRate() error {
	most := mostBufferHertz
	if s.Mode == "polled" {
		most = mostPollHertz
	}
	switch {
	case s.RateHertz == nil && s.Mode == "polled":
		return fault("rate_hertz", errors.New("missing, say how often to poll"))
	case s.RateHertz != nil && !(*s.RateHertz >= leastHertz && *s.RateHertz <= most):
		return fault("rate_hertz", fmt.Errorf("%v is not within %v to %v", *s.RateHertz, leastHertz, most))
	}
	return nil
}

// clocks are the names the kernel has for them (current_timestamp_clock), and read.
var clocks = []string{"boottime", "monotonic", "monotonic_raw", "monotonic_coarse", "realtime", "realtime_coarse", "tai", "read"}

var errNoBuffer = errors.New("there is no buffer when polling, leave it out")

func (s *settings) checkBuffer() error {
	var faults []error
	polled := s.Mode == "polled"
	whole := func(key string, value *int, least int) {
		switch {
		case value != nil && polled:
			faults = append(faults, fault(key, errNoBuffer))
		case value != nil && (*value < least || *value > mostScans):
			faults = append(faults, fault(key, fmt.Errorf("%d is not within %d to %d", *value, least, mostScans)))
		case value != nil && key == "buffer_scans" && bits.OnesCount(uint(*value)) != 1:
			faults = append(faults, fault(key, fmt.Errorf("%d is no power of two, to which the kernel would round it up", *value)))
		}
	}
	text := func(key, value string) {
		if polled && value != "" {
			faults = append(faults, fault(key, errNoBuffer))
		}
	}
	whole("buffer_scans", s.BufferScans, 2)
	whole("watermark", s.Watermark, 1)
	text("trigger", s.Trigger)
	text("clock", s.Clock)
	if s.Clock != "" && !slices.Contains(clocks, s.Clock) {
		faults = append(faults, fault("clock", fmt.Errorf("%q is none of %s", s.Clock, strings.Join(clocks, ", "))))
	}
	return errors.Join(faults...)
}

func (s *settings) checkInputs() error {
	var faults []error
	for i, in := range s.Inputs {
		if (in.Channel == "") == (in.Label == "") {
			faults = append(faults, fault(fmt.Sprintf("inputs[%d]", i), errors.New("give its channel or its label")))
		}
	}
	return errors.Join(faults...)
}

func uniqueNames(inputs []input) error {
	seen := map[string]bool{}
	for i, in := range inputs {
		if seen[in.Name] {
			return fault(fmt.Sprintf("inputs[%d].name", i), fmt.Errorf("%q is the name of an input before it, give another", in.Name))
		}
		seen[in.Name] = true
	}
	return nil
}
