package config

import (
	"encoding/hex"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"github.com/ampledger/ampledger/daemon/guard"
)

// checker holds the read configuration against what one value alone cannot tell: names, references, choices.
type checker struct {
	*walk
	unfit   func(path string) string
	devices []string
	most    int // shadows on a conductor; 0 = not said
}

// ShadowName is what a shadow may be called.
var ShadowName = regexp.MustCompile(`^[A-Za-z0-9_-]{1,40}$`)

func check(w *walk, c *Config, unfit func(path string) string) {
	k := checker{walk: w, unfit: unfit, most: c.Estimates.MostShadows}
	for i, d := range c.Devices {
		k.devices = append(k.devices, d.Name)
		k.plugin(item("devices", i)+".driver", d.Driver)
	}
	k.unique("devices", k.devices)
	var conductors []string
	for i, conductor := range c.Conductors {
		conductors = append(conductors, conductor.Name)
		k.conductor(item("conductors", i), conductor)
	}
	k.unique("conductors", conductors)
	k.window(c.Abuse)
	k.record(c)
}

// mostWindowSeconds is how long the time around an event may be.
const mostWindowSeconds = 600

// window checks the time around an event, with what is not said at its default.
func (k checker) window(a Abuse) {
	pointed(&a.BeforeSeconds, defaultBeforeSeconds)
	pointed(&a.AfterSeconds, defaultAfterSeconds)
	for _, at := range []string{"abuse.after_seconds", "abuse.before_seconds"} {
		if !k.sound(at) {
			continue
		}
		switch together := *a.BeforeSeconds + *a.AfterSeconds; {
		case together > mostWindowSeconds:
			k.fault(k.values[at], at, fmt.Sprintf("makes a window of %.6g s with before_seconds and after_seconds: %d s is the most", together, mostWindowSeconds))
		case together == 0:
			k.fault(k.values[at], at, "leaves nothing of the window: before_seconds or after_seconds must be greater than zero")
		}
		return
	}
}

func (k checker) conductor(path string, c Conductor) {
	if c.Contactor != nil {
		k.refers(path+".contactor.device", c.Contactor.Device, k.devices, "is not a device")
	}
	var channels, elements []string
	for i, channel := range c.Channels {
		channels = append(channels, channel.Name)
		k.channel(item(path+".channels", i), channel)
	}
	k.unique(path+".channels", channels)
	k.fused(path, c)
	if c.ChargeFrom == Fused {
		channels = append(channels, Fused) // elements may look at it
	} else {
		k.refers(path+".charge_from", c.ChargeFrom, channels, "is not a channel of this conductor")
	}
	if c.Estimator != nil {
		k.plugin(path+".estimator.plugin", c.Estimator.Plugin)
	}
	k.shadows(path+".shadows", c.Shadows)
	for i, element := range c.Guard {
		elements = append(elements, element.Name)
		k.element(item(path+".guard", i), element, channels)
	}
	k.unique(path+".guard", elements)
}

// shadows checks the estimators beside the one in force.
func (k checker) shadows(path string, shadows []Shadow) {
	var names []string
	for i, s := range shadows {
		names = append(names, s.Name)
		if at := item(path, i) + ".name"; k.sound(at) && !ShadowName.MatchString(s.Name) {
			k.fault(k.values[at], at, quoted(s.Name)+": a shadow's name has 1 to 40 letters, digits, - and _")
		}
		k.plugin(item(path, i)+".plugin", s.Plugin)
	}
	k.unique(path, names)
	most := k.most
	otherwise(&most, defaultMostShadows)
	if len(shadows) > most {
		k.fault(k.keys[path], path, fmt.Sprintf("%d shadows, and estimates.most_shadow_count allows %d", len(shadows), most))
	}
}

// fused checks what the fused current wants of a conductor's channels, and that none has its name.
func (k checker) fused(path string, c Conductor) {
	for i, channel := range c.Channels {
		if at := item(path+".channels", i) + ".name"; channel.Name == Fused && k.sound(at) {
			k.fault(k.values[at], at, quoted(Fused)+" is what the combination of the channels is called: give the channel another name")
		}
	}
	at := path + ".charge_from"
	if c.ChargeFrom != Fused || !k.sound(at) {
		return
	}
	if n := len(c.Channels); n < 2 || n > mostFused {
		k.fault(k.values[at], at, fmt.Sprintf("%q combines 2 to %d channels, and the conductor has %d: name one of them", Fused, mostFused, n))
		return
	}
	for _, channel := range c.Channels[1:] {
		if channel.Device != c.Channels[0].Device {
			k.fault(k.values[at], at, fmt.Sprintf("%q combines readings of the same instants, and %s is read by %s, %s by %s: read them by one device, or name a channel",
				Fused, c.Channels[0].Name, c.Channels[0].Device, channel.Name, channel.Device))
			return
		}
	}
}

func (k checker) channel(path string, c Channel) {
	k.refers(path+".device", c.Device, k.devices, "is not a device")
	k.exactlyOne(path, "shunt", "magnetic", "reported")
	if c.Shunt != nil {
		k.shunt(path, *c.Shunt)
	}
}

// shunt checks that the resistance is said once: by itself, or as printed on the shunt.
func (k checker) shunt(channel string, s Shunt) {
	path := channel + ".shunt"
	resistance, drop := k.written(path+".resistance_ohms"), k.written(path+".rated_millivolts")
	switch {
	case resistance && drop:
		k.onlyWritten(path+".rated_millivolts", "resistance_ohms stands here already: take one of the two out")
	case drop:
		k.missing(path, "rated_amperes", "is required beside rated_millivolts and missing: the rated current printed on the shunt")
	case !resistance:
		k.missing(path, "resistance_ohms", "is required and missing: write it, or rated_amperes with rated_millivolts")
	}
	if s.SelfHeating != nil && k.written(channel+".temperature") {
		k.onlyWritten(path+".self_heating", "the temperature is measured: take self_heating out, or temperature from the channel")
	}
}

func (k checker) element(path string, e Element, channels []string) {
	k.refers(path+".channel", e.Channel, channels, "is not a channel of this conductor")
	k.exactlyOne(path, "instantaneous", "definite_time", "inverse_time", "saturation")
	if curve := path + ".inverse_time.curve"; e.InverseTime != nil && k.sound(curve) {
		k.among(k.values[curve], curve, e.InverseTime.Curve, guard.Curves(), "is not a curve")
	}
}

// plugin checks the two ways a plugin is named. A shipped one belongs to this program, so it needs no checksum and takes no
// arguments; an executable of others is run only with one.
func (k checker) plugin(path string, p Plugin) {
	if !k.written(path) || k.bad[path] {
		return
	}
	k.exactlyOne(path, "name", "path")
	if k.written(path+".path") && !k.written(path+".name") {
		k.missing(path, "sha256", "is required beside path and missing: the executable's checksum, as sha256sum prints it")
	} else {
		for _, key := range []string{"sha256", "arguments"} {
			k.onlyWritten(join(path, key), "a shipped plugin takes none: take it out")
		}
	}
	k.pluginName(path+".name", p.Name)
	k.executable(path+".path", p.Path)
	k.checksum(path+".sha256", p.SHA256)
	for i, name := range p.Environment {
		if at := item(path+".environment", i); strings.Contains(name, "=") {
			k.fault(k.values[at], at, "write the variable's name alone: its value is handed on from the daemon's environment")
		}
	}
}

func (k checker) pluginName(path, name string) {
	if k.sound(path) && strings.ContainsAny(name, `/\.`) {
		k.fault(k.values[path], path, quoted(name)+" looks like a path: write {path: …, sha256: …} for an executable")
	}
}

func (k checker) executable(path, file string) {
	if !k.sound(path) {
		return
	}
	if why := k.unfit(file); why != "" {
		k.fault(k.values[path], path, quoted(file)+": "+why)
	}
}

func (k checker) checksum(path, sum string) {
	if !k.sound(path) {
		return
	}
	if raw, err := hex.DecodeString(sum); err != nil || len(raw) != 32 {
		k.fault(k.values[path], path, fmt.Sprintf("must be 64 hexadecimal digits, as sha256sum prints them; here are %d characters", len(sum)))
	}
}

// sound tells whether a value is there and no fault was given for it.
func (k checker) sound(path string) bool {
	_, found := k.values[path]
	return found && !k.bad[path]
}

// onlyWritten gives a fault at a key that should not be there, unless it is not: a misspelled one may have stood for it.
func (k checker) onlyWritten(path, text string) {
	if at, found := k.keys[path]; found && !k.bad[path] {
		k.fault(at, path, text)
	}
}

// refers checks a reference. Where a name is missing, that is the fault to mend first: the reference may be right.
func (k checker) refers(path, name string, names []string, what string) {
	if k.sound(path) && len(names) > 0 && !slices.Contains(names, "") {
		k.among(k.values[path], path, name, names, what)
	}
}

// unique checks the names of a list's entries.
func (k checker) unique(list string, names []string) {
	first := map[string]int{}
	for i, name := range names {
		path := item(list, i) + ".name"
		if earlier, twice := first[name]; twice && k.sound(path) {
			k.fault(k.values[path], path, quoted(name)+" is the name of "+item(list, earlier)+" already: give each its own")
		} else if !twice {
			first[name] = i
		}
	}
}

// exactlyOne checks that one of the keys is written, and no other.
func (k checker) exactlyOne(path string, keys ...string) {
	found := ""
	for _, key := range keys {
		switch {
		case !k.written(join(path, key)):
		case found == "":
			found = key
		default:
			k.onlyWritten(join(path, key), found+" stands here too: take all but one of "+strings.Join(keys, ", ")+" out")
		}
	}
	if found == "" && k.whole[path] && !k.bad[path] {
		k.fault(k.begin(path), path, "exactly one of "+strings.Join(keys, ", ")+" is required: write one")
	}
}
