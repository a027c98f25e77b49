package daemon_test

import (
	"fmt"
	"io"
	"math"
	"net"
	"sync"
	"testing"
)

// fiftyAmperes serves Modbus over TCP until the test ends and gives the address. Any two registers asked for are 50 as a float, the most significant byte
// first: 42480000.
func fiftyAmperes(t *testing.T) (address string) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var serving sync.WaitGroup
	serving.Go(func() {
		for {
			connection, err := listener.Accept()
			if err != nil {
				return
			}
			serving.Go(func() { answerFifty(connection) }) // ends with the client, which is the daemon's driver
		}
	})
	t.Cleanup(func() {
		listener.Close()
		serving.Wait()
	})
	return listener.Addr().String()
}

func answerFifty(connection net.Conn) {
	defer connection.Close()
	for request := make([]byte, 12); ; {
		if _, err := io.ReadFull(connection, request); err != nil {
			return
		}
		answer := append([]byte{request[0], request[1], 0, 0, 0, 7}, request[6], request[7], 4, 0x42, 0x48, 0, 0)
		if _, err := connection.Write(answer); err != nil {
			return
		}
	}
}

// TestMetersOnModbus runs one that is read, one that is read in the wrong order of bytes, and one that is not there. What is wrong becomes an
// event with the remedy; the charge of the first is as if it were alone.
func TestMetersOnModbus(t *testing.T) {
	address := fiftyAmperes(t)
	device := func(name, address, order string) string {
		return fmt.Sprintf(`
  - name: %s
    driver: modbus
    with:
      tcp: %s
      rate_hertz: 100
      reads: [{registers: input, inputs: [{name: a, address: 0, type: float32, order: %s, unit: A, averaging: false, plausible: [-600, 600]}]}]`, name, address, order)
	}
	c, _ := load(t, `
state: state
listen: {unix: s}
devices:`+device("sound", address, "abcd")+device("swapped", address, "cdab")+device("absent", "127.0.0.1:1", "abcd")+`
conductors:
  - name: pack
    channels: [{name: meter, device: sound, input: a, reported: {rated_amperes: 600}}]
  - name: others
    channels:
      - {name: b, device: swapped, input: a, reported: {rated_amperes: 600}}
      - {name: c, device: absent, input: a, reported: {rated_amperes: 600}}
`)
	s := serve(t, c)
	awaitDeviceEvents(t, s, map[string]string{
		"swapped": address + `: server 1, input registers 0 to 1: input "a" reads 2.3777e-41 A, plausible are -600 to 600: see the order, where abcd reads 50 A`,
		"absent":  "127.0.0.1:1: nothing could be read for 3",
	})
	a := statementOf(t, s)
	held := a.GetDurationNanos() - a.GetGaps().GetDurationNanos()
	if a.GetReadingCount() == 0 || held <= 0 || math.Abs(float64(a.GetNetMicrocoulombs())*1e-6-50*float64(a.GetDurationNanos())*1e-9) > 1e-5 {
		t.Errorf("%d µC over %d ns, %d of them read, want 50 A throughout", a.GetNetMicrocoulombs(), a.GetDurationNanos(), held)
	}
	s.stop()
}
