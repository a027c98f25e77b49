//go:build distribution && linux

package modbus

import (
	"io"
	"strings"
	"sync"
	"testing"

	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/driver/modbus/modbustest"
	"github.com/ampledger/ampledger/plugins/driver/modbus/register"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// serialMeter starts it on a pair of pseudo-terminals, joined near end to near end, and gives the far end that is the driver's.
func serialMeter(t *testing.T) (device string) {
	t.Helper()
	near, device := pseudoTerminal(t)
	other, its := pseudoTerminal(t)
	var joining sync.WaitGroup
	joining.Go(func() { _, _ = io.Copy(near, other) })
	joining.Go(func() { _, _ = io.Copy(other, near) })
	t.Cleanup(func() {
		near.Close()
		other.Close()
		joining.Wait()
	})
	if said := modbustest.Meter(t, "serial", its); said != "ready" {
		t.Fatal(said)
	}
	return device
}

// encoded are the reads of the numbers that the server has encoded by its own rules, and what they are.
func encoded() (reads []any, want []float64) {
	values := []struct {
		of      register.Type
		address int
		value   float64
	}{
		{register.Int16, 0, -2}, {register.Uint16, 1, 65534}, {register.Int32, 2, -123456789}, {register.Uint32, 4, 3123456789},
		{register.Int64, 6, -1234567890123456789}, {register.Float32, 10, 12.5}, {register.Float64, 12, -1e300},
	}
	for block, order := range register.Orders {
		var inputs []any
		for _, v := range values {
			in := amperes(string(v.of)+string(order), 20*block+v.address, with{"type": string(v.of), "unit": "1"})
			if v.of.Words() > 1 {
				in["order"] = string(order)
			} else if order == register.BADC || order == register.DCBA {
				in["order"] = string(register.BADC)
			}
			inputs, want = append(inputs, in), append(want, v.value)
		}
		reads = append(reads, readOf(1, inputs...))
	}
	return reads, want
}

// TestAnIndependentServer reads every type in every order, over TCP and over a serial line, of a server that encodes by itself.
func TestAnIndependentServer(t *testing.T) {
	for name, settings := range map[string]func(reads ...any) with{
		"tcp": func(reads ...any) with { return at("127.0.0.1:"+modbustest.Meter(t, "tcp"), reads...) },
		"rtu": func(reads ...any) with {
			all := on(serialMeter(t), reads...)
			all["timeout_seconds"] = 1
			return all
		},
	} {
		t.Run(name, func(t *testing.T) {
			reads, want := encoded()
			frames := mustCollect(t, configured(t, quiet(), settings(reads...)), 5)
			for column, value := range want {
				for _, p := range points(frames, column) {
					if p.value != value || p.absent {
						t.Fatalf("%v: %+v, want %v", frames[0].Columns[column], p, value)
					}
				}
			}
		})
	}
}

func TestConformanceWithAnIndependentServer(t *testing.T) {
	live := with{"registers": "input", "inputs": []any{amperes("current", 0, with{"type": "float64", "order": "dcba"})}}
	t.Run("tcp", func(t *testing.T) {
		drivertest.Run(t, func() plugin.Driver { return quiet() }, at("127.0.0.1:"+modbustest.Meter(t, "tcp"), live))
	})
	t.Run("rtu", func(t *testing.T) {
		settings := on(serialMeter(t), live)
		settings["timeout_seconds"] = 1
		drivertest.Run(t, func() plugin.Driver { return quiet() }, settings)
	})
}

// TestRefusalsOfAnIndependentServer asks for registers it has not, and for a server that is not behind it.
func TestRefusalsOfAnIndependentServer(t *testing.T) {
	address := "127.0.0.1:" + modbustest.Meter(t, "tcp")
	for name, c := range map[string]struct {
		read with
		want string
	}{
		"register": {readOf(1, amperes("a", 500, nil)), "server 1, holding registers 500 to 500: exception 02, ILLEGAL DATA ADDRESS"},
		"server":   {readOf(7, amperes("a", 0, nil)), "server 7, holding registers 0 to 0: no answer for 200ms"},
	} {
		_, err := collect(t, configured(t, hasty(t, quiet()), at(address, c.read)), 1)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", name, err, c.want)
		}
	}
}

// TestAServerThatFailsInManyWays polls one that is late, silent, wrong, or hangs up for three answers in ten. The time that it says it sampled must lie in
// the span of the scan that has the value: a value given late or twice would not.
func TestAServerThatFailsInManyWays(t *testing.T) {
	address := "127.0.0.1:" + modbustest.Meter(t, "tcp", "0.3", "11")
	settings := at(address, with{"registers": "input", "inputs": []any{amperes("time", 8, with{"type": "int64", "unit": "1"})}})
	settings["rate_hertz"] = 10
	frames := mustCollect(t, configured(t, quiet(), settings), 20)
	lost := uint64(0)
	for i, p := range points(frames, 0) {
		half := float64(frames[i].TimeUncertaintyNanos)*1.7320508 + 1e3
		if off := p.value - float64(p.at); off > half || off < -half {
			t.Errorf("scan %d: sampled %v ns from its time, which is known to %v", p.sequence, off, half)
		}
		lost = p.sequence + 1 - uint64(i+1)
	}
	if lost == 0 {
		t.Error("no poll was lost")
	}
	t.Logf("%d scans, %d polls lost", len(frames), lost)
}
