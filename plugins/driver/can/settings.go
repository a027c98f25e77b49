package can

import (
	"errors"
	"fmt"

	"github.com/ampledger/ampledger/plugins/driver/internal/playback"
)

// settings are those of the package comment.
type settings struct {
	Interface string            `json:"interface"`
	Log       string            `json:"log"`
	ScanOn    string            `json:"scan_on"`
	Messages  []messageSettings `json:"messages"`

	Speed      *float64 `json:"speed"`
	FrameScans *int     `json:"frame_scans"`
	WallStart  string   `json:"wall_start"`
}

// messageSettings are those of one message.
type messageSettings struct {
	Identifier    *int64            `json:"identifier"`
	Extended      bool              `json:"extended"`
	Bytes         *int              `json:"bytes"`
	ByteOrder     string            `json:"byte_order"`
	PeriodSeconds *float64          `json:"period_seconds"`
	SilentSeconds *float64          `json:"silent_seconds"`
	Multiplexer   *fieldSettings    `json:"multiplexer"`
	Counter       *counterSettings  `json:"counter"`
	Checksum      *checksumSettings `json:"checksum"`
	Signals       []signalSettings  `json:"signals"`
}

type fieldSettings struct {
	StartBit  *int   `json:"start_bit"`
	Length    *int   `json:"length"`
	ByteOrder string `json:"byte_order"`
}

type counterSettings struct {
	fieldSettings
	Greatest *int64 `json:"greatest"`
}

type checksumSettings struct {
	fieldSettings
	Algorithm string `json:"algorithm"`
	FirstByte *int   `json:"first_byte"`
	LastByte  *int   `json:"last_byte"`
	Before    []int  `json:"before"`
	After     []int  `json:"after"`
}

type signalSettings struct {
	fieldSettings
	Name          string   `json:"name"`
	Type          string   `json:"type"`
	Scale         *float64 `json:"scale"`
	Offset        *float64 `json:"offset"`
	Unit          string   `json:"unit"`
	Averaging     bool     `json:"averaging"`
	Multiplex     *int64   `json:"multiplex"`
	LeastRaw      *float64 `json:"least_raw"`
	GreatestRaw   *float64 `json:"greatest_raw"`
	HoldSeconds   *float64 `json:"hold_seconds"`
	VoltsPerCode  *float64 `json:"volts_per_code"`
	ZeroCodeVolts *float64 `json:"zero_code_volts"`
}

// most bounds what one device describes, and with it the memory and the work for each frame.
const (
	mostMessages = 256
	mostSignals  = 1024
)

func fault(key string, err error) error { return fmt.Errorf("setting %q: %w", key, err) }

// faults collects what is wrong with the settings below a key.
type faults struct {
	at  string
	all *[]error
}

func (f faults) refuse(key, format string, values ...any) {
	*f.all = append(*f.all, fault(f.key(key), fmt.Errorf(format, values...)))
}

func (f faults) key(key string) string {
	switch {
	case f.at == "":
		return key
	case key == "":
		return f.at
	}
	return f.at + "." + key
}

// below gives the collector for what stands below a key.
func (f faults) below(format string, values ...any) faults {
	return faults{f.key(fmt.Sprintf(format, values...)), f.all}
}

// check gives the plan, or all faults of the settings.
func (s *settings) check() (*plan, error) {
	var all []error
	f, p := faults{all: &all}, &plan{network: s.Interface, log: s.Log, byKey: map[uint32]int{}}
	s.checkSource(f, p)
	s.checkMessages(f, p)
	s.checkScan(f, p)
	if err := errors.Join(all...); err != nil {
		return nil, err
	}
	return p, nil
}

func (s *settings) checkSource(f faults, p *plan) {
	if s.Log == "" {
		if s.Interface == "" {
			f.refuse("interface", "missing, give the name of a CAN interface, or a log")
		}
		for _, c := range []struct {
			key   string
			given bool
		}{{"speed", s.Speed != nil}, {"frame_scans", s.FrameScans != nil}, {"wall_start", s.WallStart != ""}} {
			if c.given {
				f.refuse(c.key, "is for a log only, leave it out")
			}
		}
		return
	}
	pace := playback.Settings{Speed: 1, WallStart: s.WallStart}
	if s.Speed != nil {
		pace.Speed = *s.Speed
	}
	if s.FrameScans != nil {
		pace.FrameScans = *s.FrameScans
	}
	var err error
	if p.playback, err = pace.Check(); err != nil {
		*f.all = append(*f.all, err)
	}
}

func (s *settings) checkMessages(f faults, p *plan) {
	if len(s.Messages) == 0 || len(s.Messages) > mostMessages {
		f.refuse("messages", "there are %d, describe 1 to %d", len(s.Messages), mostMessages)
	}
	for i := range s.Messages {
		if i == mostMessages {
			return
		}
		s.Messages[i].check(f.below("messages[%d]", i), p)
	}
	if len(p.inputs) > mostSignals {
		f.refuse("messages", "they have %d signals, %d at the most", len(p.inputs), mostSignals)
	}
}

// checkScan finds the message that makes a scan.
func (s *settings) checkScan(f faults, p *plan) {
	if len(p.inputs) == 0 {
		if len(*f.all) == 0 {
			f.refuse("messages", "they have no signals, describe one at the least")
		}
		return
	}
	found := 0
	if s.ScanOn != "" {
		if found = p.find(s.ScanOn); found < 0 {
			f.refuse("scan_on", "no signal is named %q", s.ScanOn)
			return
		}
	}
	p.scanOn = found
	in := &p.inputs[found]
	if in.holdNanos > 0 {
		f.refuse("scan_on", "%q makes the scans and comes anew with each, so it cannot have hold_seconds", in.Name)
	}
}
