package iio

import (
	"bytes"
	"errors"
	"fmt"
	"io"
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
	text    [64]byte
	failing bool // the last reading failed, and that was said
}

// openProbes opens the attribute of each input. With an error it gives those that are open.
func openProbes(p *plan) (open []probe, err error) {
	for i := range p.inputs {
		in := &p.inputs[i]
		kind := "_raw"
		if in.channel.processed {
			kind = "_input"
		}
		path := p.sysfs.path("in_" + in.channel.name + kind)
		file, err := os.Open(path)
		if err != nil {
			return open, explain(err)
		}
		open = append(open, probe{input: in, path: path, file: file})
	}
	return open, nil
}

func closeProbes(open []probe) {
	for i := range open {
		_ = open[i].file.Close() // was only read
	}
}

// take reads the input and appends it to its column as the value of a scan.
func (p *probe) take(to *plugin.Column, scan int, log *log.Logger) error {
	n, err := p.file.ReadAt(p.text[:], 0)
	if errors.Is(err, io.EOF) {
		err = nil // the end of the text, as it should be
	}
	absent := passing(err)
	switch {
	case absent && !p.failing:
		log.Printf("%s has no value: %v", p.path, err)
	case !absent && err != nil:
		return explain(err)
	}
	p.failing = absent
	if absent {
		to.AbsentIndices = append(to.AbsentIndices, uint32(scan))
		p.append(to, 0)
		return nil
	}
	return p.read(to, bytes.TrimSpace(p.text[:n]))
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
