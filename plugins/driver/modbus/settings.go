package modbus

import (
	"errors"
	"fmt"
	"time"
)

// settings are those of the package comment.
type settings struct {
	TCP            string          `json:"tcp"`
	Serial         *serialSettings `json:"serial"`
	RateHertz      *float64        `json:"rate_hertz"`
	TimeoutSeconds float64         `json:"timeout_seconds"`
	Reads          []readSettings  `json:"reads"`
}

func defaults() settings { return settings{TimeoutSeconds: 0.5} }

// plan is what the settings come to.
type plan struct {
	rateHertz float64
	line      linePlan
	reads     []read
}

const (
	leastHertz, mostHertz     = 0.001, 1000
	leastTimeout, mostTimeout = 0.001, 5
)

func fault(key string, err error) error { return fmt.Errorf("setting %q: %w", key, err) }

func missing(key, remedy string) error { return fault(key, errors.New("missing, "+remedy)) }

// check gives the plan, or all faults.
func (s *settings) check() (*plan, error) {
	line, err := s.checkLine()
	faults := []error{err, s.checkRate()}
	if !(s.TimeoutSeconds >= leastTimeout && s.TimeoutSeconds <= mostTimeout) {
		faults = append(faults, fault("timeout_seconds", fmt.Errorf("%v is not within %v to %v", s.TimeoutSeconds, leastTimeout, mostTimeout)))
	}
	line.timeout = time.Duration(s.TimeoutSeconds * 1e9)
	reads, err := s.checkReads()
	if err := errors.Join(append(faults, err)...); err != nil {
		return nil, err
	}
	return &plan{*s.RateHertz, line, reads}, nil
}

func (s *settings) checkRate() error {
	switch {
	case s.RateHertz == nil:
		return missing("rate_hertz", "say how often to poll")
	case !(*s.RateHertz >= leastHertz && *s.RateHertz <= mostHertz):
		return fault("rate_hertz", fmt.Errorf("%v is not within %v to %v", *s.RateHertz, leastHertz, mostHertz))
	}
	return nil
}
