package daemon_test

import (
	"bufio"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/daemontest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// An hour at 1 kHz.
const hourScans = 3_600_000

// BenchmarkProcess takes an hour of a 1 kHz recording, CSV, through the pipeline offline: replay as a process, estimator as a process.
func BenchmarkProcess(b *testing.B) {
	c := benchConfig(b, `
devices:
  - {name: adc, driver: replay, with: {file: hour.csv, speed: 0, inputs: [{name: code, unit: code, bits: 16, volts_per_code: 0.0001}]}}
conductors:
  - name: pack
    channels: [{name: shunt, device: adc, input: code, shunt: {rated_amperes: 500, rated_millivolts: 50, gain: 50}}]
    estimator: {plugin: fixedzero, with: {zero: declared}}
    guard: [{name: overload, direction: discharge, definite_time: {pickup_amperes: 300, delay_seconds: 2}}]
`)
	writeHour(b, filepath.Join(c.Folder, "hour.csv"))
	for b.Loop() {
		statements, err := daemon.Process(b.Context(), c, benchOptions(b), daemon.Outputs{})
		if err != nil {
			b.Fatal(err)
		}
		if n := statements[0].GetAccounts()[0].GetReadingCount(); n != hourScans {
			b.Fatalf("%d readings", n)
		}
	}
	b.ReportMetric(float64(b.N)*hourScans/b.Elapsed().Seconds(), "readings/s")
}

func writeHour(b *testing.B, name string) {
	b.Helper()
	file, err := os.Create(name)
	if err != nil {
		b.Fatal(err)
	}
	to := bufio.NewWriterSize(file, 1<<20)
	fmt.Fprintln(to, "time_s,code")
	for k := range hourScans {
		fmt.Fprintf(to, "%d.%03d,%d\n", k/1000, k%1000, int(3000+2000*math.Sin(float64(k)/700)))
	}
	if err := to.Flush(); err != nil {
		b.Fatal(err)
	}
	if err := file.Close(); err != nil {
		b.Fatal(err)
	}
}

// BenchmarkLive measures readings from a driver's process through the daemon to one client, all over gRPC, in frames of two sizes.
func BenchmarkLive(b *testing.B) {
	for _, scans := range []int{100, 1000} {
		b.Run(fmt.Sprint(scans), func(b *testing.B) {
			c := benchConfig(b, fmt.Sprintf(`
listen: {unix: s}
devices:
  - name: rig
    driver: simulate
    with: {rate_hertz: 10000, speed: 0, frame_scans: %d, duty: [{seconds: 60, hold_amperes: 50}],
           shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0001}}
conductors:
  - {name: pack, channels: [{name: shunt, device: rig, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50}}],
     estimator: {plugin: fixedzero, with: {zero: declared}}}
`, scans))
			readings, lost := live(b, c)
			b.ReportMetric(float64(readings)/b.Elapsed().Seconds(), "readings/s")
			b.ReportMetric(float64(lost)/float64(readings+lost), "lost/reading")
		})
	}
}

// live counts the readings that come in b.N messages, and those the client was too slow for.
func live(b *testing.B, c *config.Config) (readings, lost int) {
	ctx, cancel := context.WithCancel(b.Context())
	ready, ended := make(chan string, 1), make(chan error, 1)
	o := benchOptions(b)
	o.Ready = func(address string) { ready <- address }
	go func() { ended <- daemon.Run(ctx, c, o) }()
	defer func() {
		cancel()
		if err := <-ended; err != nil {
			b.Error(err)
		}
	}()
	dialled, err := client.Dial(<-ready)
	if err != nil {
		b.Fatal(err)
	}
	defer dialled.Close()
	stream, err := dialled.Readings.StreamReadings(ctx, &ampledgerv1.StreamReadingsRequest{Conductor: "pack"})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		item, err := stream.Recv()
		if err != nil {
			b.Fatal(err)
		}
		readings += len(item.GetFrame().GetCurrentAmperes())
		lost += int(item.GetLost().GetReadingCount())
	}
	return readings, lost
}

func benchConfig(b *testing.B, text string) *config.Config {
	b.Helper()
	c, err := config.Parse([]byte("state: state\n"+text), "bench.yaml", b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	return c
}

func benchOptions(b *testing.B) *daemon.Options { return daemontest.Options(b, zap.NewNop()) }
