// Package modbustest is what tests of Modbus have in common: a server that has nothing of the driver's, and the frames of a serial line.
package modbustest

import (
	"bufio"
	_ "embed"
	"encoding/binary"
	"os/exec"
	"strings"
	"testing"
)

//go:embed meter.py
var meter string

// Meter starts the server of meter.py, which says what the arguments mean, with Debian's python3-pymodbus, until the test ends. It gives what the
// server says once it answers: its port, or "ready".
func Meter(t testing.TB, arguments ...string) (said string) {
	t.Helper()
	command := exec.Command("/usr/bin/python3", append([]string{"-c", meter}, arguments...)...)
	input, err := command.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	output, err := command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var complaints strings.Builder
	command.Stderr = &complaints
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		input.Close() // it ends with its input
		if err := command.Wait(); err != nil {
			t.Errorf("%v: %s", err, &complaints)
		}
	})
	line, err := bufio.NewReader(output).ReadString('\n')
	if err != nil {
		t.Fatalf("the server does not answer: %v; python3-pymodbus 3.0 is needed", err)
	}
	return strings.TrimSpace(line)
}

// Sealed puts its checksum behind a frame of a serial line.
func Sealed(frame ...byte) []byte { return binary.LittleEndian.AppendUint16(frame, Checksum(frame)) }

// Checksum is the one of a serial line as the standard describes it (MODBUS over Serial Line V1.02, 6.2.2), bit by bit.
func Checksum(frame []byte) uint16 {
	sum := uint16(0xffff)
	for _, b := range frame {
		sum ^= uint16(b)
		for range 8 {
			carry := sum & 1
			if sum >>= 1; carry != 0 {
				sum ^= 0xa001
			}
		}
	}
	return sum
}
