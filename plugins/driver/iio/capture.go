package iio

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"github.com/ampledger/ampledger/plugins/driver/iio/layout"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// capture sets the buffer up, reads it, and sets back what it has set. The device file is opened first: only one program can have it open, so
// what is set up after that is nobody else's.
func (d *Driver) capture(ctx context.Context, emit func(*plugin.Frame) error) (err error) {
	file, err := os.OpenFile(d.plan.buffer.file, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return explain(err)
	}
	defer file.Close()
	var set knobs
	defer func() {
		if fault := set.restore(); fault != nil {
			d.log.Printf("what was set could not be set back: %v", fault)
			err = errors.Join(err, fault)
		}
	}()
	if err := d.plan.setUp(&set); err != nil {
		return err
	}
	return newReader(d, file, emit).run(ctx)
}

// setUp writes what the plan says, the start last.
func (p *plan) setUp(set *knobs) error {
	b := p.buffer
	for _, step := range []func(*knobs) error{b.stop, b.enable, b.size, p.setTrigger, p.setClock, p.setFrequency, b.start} {
		if err := step(set); err != nil {
			return err
		}
	}
	return nil
}

// stop stops a buffer that a process that was killed has left running.
func (b *bufferPlan) stop(*knobs) error {
	running, err := b.folder.text("enable")
	if err != nil || running == "0" {
		return err
	}
	return b.folder.write("enable", "0")
}

// enable enables the plan's channels and disables all others, or they would stand in the scans as well.
func (b *bufferPlan) enable(set *knobs) error {
	names, err := b.elements.names()
	if err != nil {
		return err
	}
	for _, name := range names {
		channel, isEnabler := strings.CutSuffix(name, "_en")
		if !isEnabler {
			continue
		}
		on := "0"
		if slices.ContainsFunc(b.fields, func(f layout.Field) bool { return "in_"+f.Name == channel }) {
			on = "1"
		}
		if err := set.set(b.elements, name, on); err != nil {
			return err
		}
	}
	return nil
}

// size sets the lengths. The kernel cuts the watermark to the length, so the length goes first, there and back.
func (b *bufferPlan) size(set *knobs) error {
	if b.waits {
		if _, err := set.note(b.folder, "watermark"); err != nil {
			return err
		}
	}
	if err := set.set(b.folder, "length", strconv.Itoa(b.scans)); err != nil || !b.waits {
		return err
	}
	return b.folder.write("watermark", strconv.Itoa(b.watermark))
}

func (p *plan) setTrigger(set *knobs) error {
	if p.buffer.trigger == "" {
		return nil
	}
	return set.set(folder(p.sysfs.path("trigger")), "current_trigger", p.buffer.trigger)
}

// setClock makes sure that the time stamps are of the clock that was asked for.
func (p *plan) setClock(set *knobs) error {
	want := p.buffer.clock
	if want == "" {
		return nil
	}
	err := set.set(p.sysfs, clockAttribute, want)
	has, unread := p.sysfs.text(clockAttribute)
	switch {
	case err != nil:
		return fault("clock", fmt.Errorf("%w; it is %q, give clock: read or, knowing what it means, clock: %s", err, has, has))
	case unread != nil:
		return unread
	case has != want:
		return fault("clock", fmt.Errorf("%s stays %q, give clock: read or, knowing what it means, clock: %s", p.sysfs.path(clockAttribute), has, has))
	}
	return nil
}

// setFrequency sets the rate, and takes the device's own figure for it.
func (p *plan) setFrequency(set *knobs) error {
	b := p.buffer
	if b.frequency == "" {
		return nil
	}
	if b.setRate {
		text := strconv.FormatFloat(p.rateHertz, 'f', -1, 64)
		if err := set.set(p.sysfs, b.frequency, text); err != nil {
			return fault("rate_hertz", fmt.Errorf("%w%s", err, p.available()))
		}
	}
	rate, err := p.sysfs.number(b.frequency)
	switch {
	case err != nil:
		return err
	case !(math.Abs(rate-p.rateHertz) <= p.rateHertz/100):
		return fault("rate_hertz", fmt.Errorf("the device makes %v scans a second, not %v%s", rate, p.rateHertz, p.available()))
	}
	p.rateHertz = rate
	return nil
}

// available tells the rates that the device says it has.
func (p *plan) available() string {
	rates, err := p.sysfs.text(p.buffer.frequency + "_available")
	if err != nil || rates == "" {
		return ""
	}
	return "; it has " + rates
}

func (b *bufferPlan) start(set *knobs) error {
	err := set.set(b.folder, "enable", "1")
	if errors.Is(err, syscall.EINVAL) {
		return fmt.Errorf("%w: the device does not have these channels together, or needs the setting trigger", err)
	}
	return err
}
