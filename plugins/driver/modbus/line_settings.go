package modbus

import (
	"errors"
	"fmt"
	"net"
	"slices"
	"strconv"
	"strings"
	"time"
)

type serialSettings struct {
	Device        string `json:"device"`
	BitsPerSecond *int   `json:"bits_per_second"`
	Parity        string `json:"parity"`
	StopBits      *int   `json:"stop_bits"`
}

// linePlan is how the servers are reached.
type linePlan struct {
	name    string // the address with a port, or the file of a serial line
	serial  bool
	speed   int // bits per second
	parity  string
	stops   int
	timeout time.Duration
}

func (s *settings) checkLine() (linePlan, error) {
	switch {
	case s.TCP != "" && s.Serial != nil:
		return linePlan{}, fault("serial", errors.New("tcp is given too, leave one of them out"))
	case s.Serial != nil:
		return s.Serial.check()
	case s.TCP != "":
		return checkTCP(s.TCP)
	}
	return linePlan{}, missing("tcp", "give the address of the server, or serial for a line")
}

// checkTCP takes a host with or without a port.
func checkTCP(text string) (linePlan, error) {
	host, port, err := net.SplitHostPort(text)
	if err != nil {
		host, port = strings.TrimSuffix(strings.TrimPrefix(text, "["), "]"), "502"
		if strings.Contains(host, ":") && net.ParseIP(host) == nil {
			return linePlan{}, fault("tcp", fmt.Errorf("%q is neither HOST nor HOST:PORT", text))
		}
	}
	if number, err := strconv.ParseUint(port, 10, 16); err != nil || number == 0 || host == "" || strings.ContainsAny(host, "/ ") {
		return linePlan{}, fault("tcp", fmt.Errorf("%q is neither HOST nor HOST:PORT", text))
	}
	address := net.JoinHostPort(host, port)
	return linePlan{name: address}, nil
}

var (
	speeds   = []int{1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600}
	parities = []string{"even", "odd", "none"}
)

// check fills in what MODBUS over Serial Line V1.02, 2.5.1, has as the default: 19200 bit/s, even parity, 11 bits a character.
func (s *serialSettings) check() (linePlan, error) {
	line := linePlan{name: s.Device, serial: true, speed: 19200, parity: "even", stops: 1}
	var faults []error
	if s.Device == "" {
		faults = append(faults, missing("serial.device", "give the file of the line, such as /dev/ttyUSB0"))
	}
	if s.BitsPerSecond != nil {
		if line.speed = *s.BitsPerSecond; !slices.Contains(speeds, line.speed) {
			faults = append(faults, fault("serial.bits_per_second", fmt.Errorf("%d is none of %d", line.speed, speeds)))
		}
	}
	if s.Parity != "" {
		if line.parity = s.Parity; !slices.Contains(parities, s.Parity) {
			faults = append(faults, fault("serial.parity", fmt.Errorf("%q is none of %v", s.Parity, parities)))
		}
	}
	if line.parity == "none" {
		line.stops = 2
	}
	if s.StopBits != nil {
		if line.stops = *s.StopBits; line.stops != 1 && line.stops != 2 {
			faults = append(faults, fault("serial.stop_bits", fmt.Errorf("%d is neither 1 nor 2", line.stops)))
		}
	}
	return line, errors.Join(faults...)
}
