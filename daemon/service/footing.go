package service

import (
	"fmt"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// footing is what figures of a channel rest on: on another one they say nothing of what it reads.
type footing struct {
	change uint64 // that was in force; 0 = none
	basis  string // how the configuration had raw values converted
}

// footingNow is what a channel reads on now. It must be bound.
func footingNow(c *Conductor, channel string) (footing, error) {
	basis, err := c.Basis(channel)
	if err != nil {
		return footing{}, changeStatus(err)
	}
	return footing{c.InForce(channel), basis}, nil
}

// footingOf is what a record was found on.
func footingOf(record *ampledgerv1.CommissioningRecord) (f footing) {
	for _, of := range []interface {
		GetInForceSequence() uint64
		GetBasis() string
	}{record.GetZero(), record.GetDrift(), record.GetPoint(), record.GetCalibration()} {
		f.change, f.basis = max(f.change, of.GetInForceSequence()), f.basis+of.GetBasis() // three of the four are absent
	}
	return f
}

// against tells why a record that was found on f is of no use now, and the reason for programs with it; empty = it is of use. The conversion comes first: with another
// one, the change is not in force any more either.
func (f footing) against(now footing, record uint64) (reason, text string) {
	switch {
	case f.basis != now.basis:
		return "FOUND_ON_ANOTHER_CONVERSION", fmt.Sprintf("record %d was found on another resistance, scale or mounting than the configuration states now: capture anew", record)
	case f.change != now.change:
		return "FOUND_BEFORE_A_CHANGE", fmt.Sprintf("record %d was found under another correction than is in force now (%s, not %s): capture anew", record,
			changeName(f.change), changeName(now.change))
	}
	return "", ""
}

// changeName is what a refusal calls a change.
func changeName(sequence uint64) string {
	if sequence == 0 {
		return "the configuration alone"
	}
	return fmt.Sprintf("record %d", sequence)
}
