package score

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/ampledger/ampledger/daemon/config"
)

// Settings say what is to be scored against what.
type Settings struct {
	Config        *config.Config
	Truth         string // DEVICE/INPUT or CONDUCTOR/CHANNEL
	TruthPositive string // direction of the input's positive sign, "discharge" (default) or "charge"; a channel has its conductor's
	Conductor     string // to be scored; default that of the truth if it has other channels, else the only one there is beside it
}

// Plan is settings that make sense.
type Plan struct {
	config   *config.Config
	truth    truth
	scored   config.Conductor // with its own estimator, without the truth's channel and the guard
	devices  []config.Device  // that are read
	variants []variant
}

// variant is one way to find the offset.
type variant struct {
	label     string
	estimator *config.Estimator // nil = none
}

// The labels of what a conductor's own estimator is compared with.
const (
	Uncompensated = "uncompensated"
	FirstRest     = "first rest" // fixedzero with its defaults
	Oracle        = "oracle"     // biasfilter, told the truth behind its settings
)

// ErrSeveral says that the truth could be that of more than one conductor, and Settings.Conductor is empty.
var ErrSeveral = errors.New("the truth is that of one conductor, and there are several")

// New makes a plan. An error says what in the settings or the configuration is to be changed.
func New(s Settings) (*Plan, error) {
	of, err := newTruth(&s)
	if err != nil {
		return nil, err
	}
	p := &Plan{config: s.Config, truth: of}
	if err := p.choose(s.Conductor); err != nil {
		return nil, err
	}
	p.scored.Guard = nil
	p.scored.Channels = slices.DeleteFunc(slices.Clone(p.scored.Channels), func(ch config.Channel) bool {
		return of.conductor == p.scored.Name && ch.Name == of.channel.Name
	})
	if len(p.Channels()) == 0 {
		return nil, fmt.Errorf("conductor %s: no channel is read by device %s beside the truth, so none can be held against it", p.scored.Name, of.channel.Device)
	}
	if p.scored.ChargeFrom == config.Fused && len(p.scored.Channels) < 2 {
		return nil, fmt.Errorf("conductor %s: beside the truth there is one channel, so nothing is left to be fused: set charge_from to it", p.scored.Name)
	}
	p.devices = slices.DeleteFunc(slices.Clone(s.Config.Devices), func(d config.Device) bool { return !p.reads(d.Name) })
	p.variants = variants(p.scored.Estimator)
	return p, nil
}

// choose finds the conductor to be scored.
func (p *Plan) choose(name string) error {
	for _, c := range p.config.Conductors {
		if name == "" && c.Name == p.truth.conductor && len(c.Channels) > 1 {
			name = c.Name
		}
	}
	var names []string
	for _, c := range p.config.Conductors {
		if name == "" && !slices.ContainsFunc(c.Channels, func(ch config.Channel) bool { return !p.truth.is(ch) }) {
			continue // it is the truth's
		}
		if name == c.Name || name == "" {
			p.scored = c
		}
		names = append(names, c.Name)
	}
	switch all := strings.Join(names, ", "); {
	case len(names) == 0:
		return fmt.Errorf("there is no conductor beside the truth's")
	case name == "" && len(names) > 1:
		return fmt.Errorf("%w, %s: name it", ErrSeveral, all)
	case p.scored.Name == "":
		return fmt.Errorf("there is no conductor %q; there are %s", name, all)
	}
	return nil
}

// Channels gives the channels that can be scored, those on the truth's device.
func (p *Plan) Channels() (names []string) {
	for _, ch := range p.scored.Channels {
		if ch.Device == p.truth.channel.Device {
			names = append(names, ch.Name)
		}
	}
	if len(names) > 0 && p.scored.ChargeFrom == config.Fused {
		names = append(names, config.Fused)
	}
	return names
}

// ChargeFrom gives the channel the conductor's charge is taken from.
func (p *Plan) ChargeFrom() string { return p.scored.ChargeFrom }

// reads tells whether anything of a device is used.
func (p *Plan) reads(device string) bool {
	return p.truth.channel.Device == device || p.scored.Contactor != nil && p.scored.Contactor.Device == device ||
		slices.ContainsFunc(p.scored.Channels, func(ch config.Channel) bool { return ch.Device == device })
}

// variants are the conductor's own estimator and what it is compared with.
func variants(own *config.Estimator) (all []variant) {
	if own != nil {
		all = append(all, variant{label(own), own})
	}
	if own == nil || own.Plugin.Name != "fixedzero" || len(own.With) > 0 {
		all = append(all, variant{FirstRest, &config.Estimator{Plugin: config.Plugin{Name: "fixedzero"}}})
	}
	return append(all, variant{Uncompensated, nil})
}

func label(e *config.Estimator) string {
	if e.Plugin.Name == "" {
		return e.Plugin.Path
	}
	return e.Plugin.Name
}

// offsetInput gives the input that tells a channel's true offset, if the device is a simulation that gives it.
func (p *Plan) offsetInput(ch config.Channel) (input string, given bool) {
	for _, d := range p.devices {
		if d.Name == ch.Device && d.Driver.Name == "simulate" && d.With["truth"] == true {
			sensor, coded := strings.CutSuffix(ch.Input, "_code")
			return sensor + "_true_offset_amperes", coded
		}
	}
	return "", false
}
