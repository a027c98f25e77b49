package iio

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"github.com/ampledger/ampledger/plugins/driver/iio/layout"
)

// bufferPlan is how a device's buffer is to be set up and read.
type bufferPlan struct {
	file      string // the device file
	folder    folder // of the buffer's attributes
	elements  folder // of those of the scan
	fields    []layout.Field
	scanBytes int
	stamp     int  // which field is the time stamp; -1 = none
	scans     int  // of the buffer
	watermark int  // scans worth waking up for
	waits     bool // the kernel has an attribute for that
	trigger   string
	clock     string // that the attribute is to have; "" = there is no attribute or no time stamp
	frequency string // the attribute of the rate; "" = none
	setRate   bool   // the rate is to be written there
}

const stampName = "timestamp"

// planBuffered finds the scan's channels and their places.
func (s *settings) planBuffered(p *plan, d device) error {
	b := &bufferPlan{file: filepath.Join(s.Dev, d.file), folder: folder(p.sysfs.path("buffer0")), stamp: -1, trigger: s.Trigger, setRate: s.RateHertz != nil}
	b.elements = b.folder
	if !p.sysfs.has("buffer0") {
		b.folder, b.elements = folder(p.sysfs.path("buffer")), folder(p.sysfs.path("scan_elements"))
	}
	if !b.folder.has("enable") {
		return fault("mode", fmt.Errorf("%s has no buffer, use polled", p.sysfs))
	}
	p.buffer = b
	return errors.Join(s.planScan(p), s.planRate(p), s.planRoom(p))
}

// planScan chooses the channels and arranges them.
func (s *settings) planScan(p *plan) error {
	b := p.buffer
	names, err := channels(b.elements, enabler)
	if err != nil {
		return err
	}
	picked, err := s.choose(p.sysfs, names)
	if err != nil {
		return err
	}
	for _, c := range picked {
		if err := b.add(c.name); err != nil {
			return err
		}
		in, err := c.describe(c.input, &b.fields[len(b.fields)-1].Element)
		if err != nil {
			return err
		}
		p.inputs = append(p.inputs, in)
	}
	if err := s.planStamp(p); err != nil {
		return err
	}
	if b.scanBytes, err = layout.Arrange(b.fields); err != nil {
		return err
	}
	for i := range p.inputs {
		p.inputs[i].at = b.place(p.inputs[i].channel.name)
	}
	b.stamp = b.place(stampName)
	return nil
}

// place gives which field a channel is; -1 = it is none.
func (b *bufferPlan) place(name string) int {
	return slices.IndexFunc(b.fields, func(f layout.Field) bool { return f.Name == name })
}

// add reads where a channel stands in a scan, and how. A channel that is already there is not added again, so its field may be any.
func (b *bufferPlan) add(name string) error {
	index, err := b.elements.number("in_" + name + "_index")
	if err == nil && (index < 0 || index > math.MaxInt32 || index != math.Trunc(index)) {
		err = fmt.Errorf("%s: %v is no index", b.elements.path("in_"+name+"_index"), index)
	}
	if err != nil {
		return err
	}
	text, err := b.elements.text("in_" + name + "_type")
	if err != nil {
		return err
	}
	element, err := layout.ParseElement(text)
	if err != nil {
		return fmt.Errorf("%s: %w", b.elements.path("in_"+name+"_type"), err)
	}
	b.fields = append(b.fields, layout.Field{Name: name, Index: int(index), Element: element})
	return nil
}

// planStamp adds the time stamp, if there is one and it is of a clock that will do.
func (s *settings) planStamp(p *plan) error {
	b := p.buffer
	if s.Clock == "read" {
		return nil
	}
	if !b.elements.has("in_" + stampName + "_en") {
		if s.Clock != "" {
			return fault("clock", errors.New("the device has no time stamps, leave it out"))
		}
		return nil
	}
	want := cmp.Or(s.Clock, "boottime")
	switch {
	case p.sysfs.has(clockAttribute):
		b.clock = want
	case want != "realtime":
		return fault("clock", fmt.Errorf("%s has no %s, so its time stamps are of realtime, which follows the wall clock; give clock: read for the time of reading, or clock: realtime to have them all the same", p.sysfs, clockAttribute))
	}
	return b.add(stampName)
}

const clockAttribute = "current_timestamp_clock"

// planRate finds the rate's attribute, and the rate where the settings leave it to the device.
func (s *settings) planRate(p *plan) error {
	if len(p.inputs) == 0 {
		return nil // said already
	}
	b := p.buffer
	b.frequency = locate(p.sysfs, p.inputs[0].channel.name, "sampling_frequency")
	switch {
	case s.RateHertz != nil:
		return nil
	case b.frequency == "":
		return fault("rate_hertz", fmt.Errorf("%s has no sampling_frequency, say how many scans come in a second", p.sysfs))
	}
	rate, err := p.sysfs.number(b.frequency)
	if err == nil && !(rate >= leastHertz && rate <= mostBufferHertz) {
		err = fault("rate_hertz", fmt.Errorf("%s is %v, set it or give a rate", p.sysfs.path(b.frequency), rate))
	}
	p.rateHertz = rate
	return err
}

// Memory is bounded by the bytes of a buffer, of which the driver holds two.
const mostBufferBytes = 8 << 20

// planRoom chooses the lengths.
func (s *settings) planRoom(p *plan) error {
	b := p.buffer
	b.scans = 1024
	if s.BufferScans != nil {
		b.scans = *s.BufferScans
	}
	if b.scans*b.scanBytes > mostBufferBytes {
		return fault("buffer_scans", fmt.Errorf("%d of %d bytes are more than %d", b.scans, b.scanBytes, mostBufferBytes))
	}
	b.waits = b.folder.has("watermark")
	b.watermark = max(1, min(int(p.rateHertz/20), b.scans/2))
	switch {
	case s.Watermark != nil && !b.waits:
		return fault("watermark", fmt.Errorf("%s has no watermark, leave it out", b.folder))
	case s.Watermark != nil && *s.Watermark > b.scans:
		return fault("watermark", fmt.Errorf("%d is more than the %d scans of the buffer", *s.Watermark, b.scans))
	case s.Watermark != nil:
		b.watermark = *s.Watermark
	}
	return nil
}
