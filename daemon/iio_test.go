package daemon_test

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestAConverterBehindTheKernel runs a daemon on a tree as the kernel's industrial I/O makes it, polled: 2500 counts of 0.1 mV across 0.1 mΩ amplified 50
// times are 50 A.
func TestAConverterBehindTheKernel(t *testing.T) {
	c, folder := load(t, `
state: state
listen: {unix: s}
ledger: {interval_seconds: 0.1}
devices:
  - name: adc0
    driver: iio
    with: {device: converter, mode: polled, rate_hertz: 200, sysfs: sys, dev: dev, inputs: [{channel: voltage0, name: shunt_code}]}
conductors:
  - name: pack
    channels:
      - {name: shunt, device: adc0, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16}, noise_amperes: 0.06, zero_uncertainty_amperes: 0.5}
`)
	device := filepath.Join(folder, "sys", "iio:device0")
	for _, path := range []string{device, filepath.Join(folder, "dev")} {
		if err := os.MkdirAll(path, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	for name, text := range map[string]string{"name": "converter", "in_voltage0_raw": "2500", "in_voltage0_scale": "0.1"} {
		if err := os.WriteFile(filepath.Join(device, name), []byte(text+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s := serve(t, c)
	stream, err := s.Readings.StreamReadings(s.ctx, &ampledgerv1.StreamReadingsRequest{Conductor: "pack", FromOldest: true})
	if err != nil {
		t.Fatal(err)
	}
	for readings := 0; readings < 100; {
		item, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		for _, y := range item.GetFrame().GetCurrentAmperes() {
			readings++
			if math.Abs(y-50) > 1e-9 {
				t.Fatalf("%g A, want 50 A", y)
			}
		}
	}
	if a := statementOf(t, s); math.Abs(float64(a.GetNetMicrocoulombs())*1e-6-50*float64(a.GetDurationNanos())*1e-9) > 1e-5 {
		t.Errorf("%d µC over %d ns, want 50 A throughout", a.GetNetMicrocoulombs(), a.GetDurationNanos())
	}
}
