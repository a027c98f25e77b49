package iio

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log"
	"math"
	"os"
	"strconv"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// attributeFile is an open attribute. sysfs makes its text anew at each reading from its start.
type attributeFile interface {
	io.ReaderAt
	io.Closer
}

// probe reads one input by polling.
type probe struct {
	*input
	path    string
	file    attributeFile
	fault   attributeFile // holds not 0 while the value is wrong; nil = the sensor has none
	faulty  error         // says so
	text    [64]byte
	failing bool // the last reading failed, and that was said
}

// openProbes opens the attribute of each input. With an error it gives those that are open.
func openProbes(p *plan) (open []probe, err error) {
	for i := range p.inputs {
		probe := probe{input: &p.inputs[i]}
		err := probe.open(p.sysfs)
		open = append(open, probe)
		if err != nil {
			return open, err
		}
	}
	return open, nil
}

func (p *probe) open(in folder) (err error) {
	p.path = in.path(p.channel.attribute)
	if p.file, err = openAttribute(p.path); err != nil || p.channel.fault == "" {
		return err
	}
	path := in.path(p.channel.fault)
	p.faulty = fmt.Errorf("%w: %s is not 0, see the sensor and its wiring", errFaulty, path)
	p.fault, err = openAttribute(path)
	return err
}

// openAttribute opens one that there was when the device was described.
func openAttribute(path string) (attributeFile, error) {
	file, err := os.Open(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, gone(err)
	case err != nil:
		return nil, explain(err)
	}
	return file, nil
}

func closeProbes(open []probe) {
	for i := range open {
		for _, file := range []attributeFile{open[i].file, open[i].fault} {
			if file != nil {
				_ = file.Close() // was only read
			}
		}
	}
}

// take reads the input and appends it to its column as the value of a scan.
func (p *probe) take(to *plugin.Column, scan int, log *log.Logger) error {
	text, err := p.ask()
	absent := passing(err)
	switch {
	case absent && !p.failing:
		log.Printf("%s has no value: %v", p.path, explain(err))
	case !absent && err != nil:
		return explain(err)
	}
	p.failing = absent
	if absent {
		to.AbsentIndices = append(to.AbsentIndices, uint32(scan))
		p.append(to, 0)
		return nil
	}
	return p.read(to, text)
}

// ask gives the text of the attribute, or an error if the sensor says that it is wrong. That is asked after the value, as a fault stays.
func (p *probe) ask() (text []byte, err error) {
	half := len(p.text) / 2
	text, err = get(p.file, p.text[:half])
	if err != nil || p.fault == nil {
		return text, err
	}
	flag, err := get(p.fault, p.text[half:])
	if err == nil && string(flag) != "0" {
		err = p.faulty
	}
	return text, err
}

// get reads an attribute, without the space around it.
func get(from attributeFile, into []byte) ([]byte, error) {
	n, err := from.ReadAt(into, 0)
	if errors.Is(err, io.EOF) {
		err = nil // the end of the text, as it should be
	}
	return bytes.TrimSpace(into[:n]), err
}

// read appends the value of a text.
func (p *probe) read(to *plugin.Column, text []byte) error {
	if !p.code {
		number, err := strconv.ParseFloat(string(text), 64)
		if err != nil || math.IsInf(number, 0) || math.IsNaN(number) {
			return fmt.Errorf("%s: %q is no number", p.path, text)
		}
		p.append(to, p.channel.value(number))
		return nil
	}
	code, err := strconv.ParseInt(string(text), 10, 32)
	if err != nil {
		return fmt.Errorf("%s: %q is no whole number that 32 bits with a sign hold", p.path, text)
	}
	p.append(to, float64(code))
	return nil
}

// append adds a value, a code as well, which a double holds exactly.
func (p *probe) append(to *plugin.Column, value float64) {
	if p.code {
		to.Codes = append(to.Codes, int32(value))
		return
	}
	to.Values = append(to.Values, value)
}
