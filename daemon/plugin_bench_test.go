//go:build linux

package daemon_test

import (
	"os"
	"path/filepath"
	"testing"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/daemontest"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// BenchmarkStartPlugin starts, configures and ends each shipped plugin, and says what memory it holds when it is ready. The processes are this test's
// binary, which is larger than the program.
func BenchmarkStartPlugin(b *testing.B) {
	o := daemontest.Options(b, zap.NewNop())
	host := &pluginhost.Host{Executable: o.Executable, Arguments: o.Arguments, Folder: b.TempDir(), Log: o.Log}
	conductor := plugin.Conductor{Name: "pack", CapacityCoulombs: 36000, Channels: []*plugin.Channel{{Name: "meter", FullScaleAmperes: 500, ZeroUncertaintyAmperes: 1, NoiseAmperes: 0.1}}}
	for _, name := range o.Estimators {
		b.Run("estimator/"+name, func(b *testing.B) {
			measureStart(b, func() (*pluginhost.Process, func(), error) {
				e, err := host.StartEstimator(b.Context(), pluginhost.Program{Shipped: name}, conductor, nil, pluginhost.Kept{})
				if err != nil {
					return nil, nil, err
				}
				return e.Process, e.Close, nil
			})
		})
	}
	settings := driverSettings(b, host.Folder)
	for _, name := range o.Drivers {
		b.Run("driver/"+name, func(b *testing.B) {
			measureStart(b, func() (*pluginhost.Process, func(), error) {
				d, err := host.StartDriver(b.Context(), pluginhost.Program{Shipped: name}, "dev", settings[name])
				if err != nil {
					return nil, nil, err
				}
				return d.Process, d.Close, nil
			})
		})
	}
}

func measureStart(b *testing.B, start func() (*pluginhost.Process, func(), error)) {
	b.Helper()
	var held pluginhost.Usage
	for b.Loop() {
		process, end, err := start()
		if err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		held, _ = pluginhost.UsageOf(process.PID())
		end()
		b.StartTimer()
	}
	b.ReportMetric(float64(held.ResidentBytes)/(1<<20), "resident-MB")
}

// driverSettings are what each shipped driver needs to be configured; those that read files get them.
func driverSettings(b *testing.B, folder string) map[string]map[string]any {
	b.Helper()
	for name, text := range map[string]string{
		"short.csv": "t,amperes\n0,1\n1,2\n", "sys/iio:device0/name": "converter\n", "sys/iio:device0/in_voltage0_raw": "2500\n", "sys/iio:device0/in_voltage0_scale": "0.1\n",
		"dev/nothing": "", "bus.log": "(1.000000) can0 101#0001\n(1.100000) can0 101#0002\n",
	} {
		path := filepath.Join(folder, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			b.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			b.Fatal(err)
		}
	}
	return map[string]map[string]any{
		"can": {"log": "bus.log", "messages": []any{map[string]any{"identifier": 0x101, "byte_order": "big",
			"signals": []any{map[string]any{"name": "amperes", "start_bit": 7, "length": 16, "type": "signed", "unit": "A"}}}}},
		"modbus": {"tcp": "127.0.0.1:1", "rate_hertz": 10, "reads": []any{map[string]any{"registers": "input",
			"inputs": []any{map[string]any{"name": "amperes", "address": 0, "type": "float32", "unit": "A", "averaging": false}}}}},
		"replay": {"file": "short.csv"},
		"iio": {"device": "converter", "mode": "polled", "rate_hertz": 200, "sysfs": "sys", "dev": "dev",
			"inputs": []any{map[string]any{"channel": "voltage0", "name": "code"}}},
		"simulate": {"seed": 7, "rate_hertz": 1000, "speed": 1,
			"duty":  []any{map[string]any{"seconds": 3600, "mean_amperes": 40, "amplitude_amperes": 30, "period_seconds": 1}},
			"shunt": map[string]any{"resistance_ohms": 0.0001, "gain": 50, "bits": 16, "volts_per_code": 0.0001, "noise_amperes": 0.06}},
	}
}
