package iio

import (
	"errors"
	"io"
	"os"
	"testing"
	"time"

	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/driver/internal/boottime"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// open gives a driver with the real clock.
func open() plugin.Driver {
	d := quiet()
	d.now = boottime.Nanos
	return d
}

func TestConformancePolled(t *testing.T) {
	t.Parallel()
	drivertest.Run(t, open, at(tree(t, converter()), polled(200)))
}

func TestConformanceOfAHardwareMonitor(t *testing.T) {
	t.Parallel()
	drivertest.Run(t, open, at(tree(t, monitor()), monitored(with{"rate_hertz": 10})))
}

func TestConformanceBuffered(t *testing.T) {
	for _, clock := range []string{"boottime", "read"} {
		t.Run(clock, func(t *testing.T) {
			t.Parallel()
			root := tree(t, converter())
			kernel, ended := fifo(t, root), make(chan error, 1)
			go func() { ended <- makeScans(t, kernel, clock != "read") }()
			drivertest.Run(t, open, at(root, buffered(with{"clock": clock, "buffer_scans": 64, "inputs": []any{with{"channel": "voltage1"}, with{"channel": "temp"}}})))
			if err := kernel.Close(); err != nil {
				t.Fatal(err)
			}
			if err := <-ended; !errors.Is(err, os.ErrClosed) {
				t.Error(err)
			}
		})
	}
}

// makeScans fills the pipe until it is closed, a thousand scans a second at the most.
func makeScans(t *testing.T, kernel io.Writer, stamped bool) error {
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		stamp, err := boottime.Nanos()
		if err != nil {
			return err
		}
		var block []byte
		for range 20 {
			scan := []stored{{"be:u24/32>>8", stamp & 0xffffff}, {"le:s16/16>>0", stamp & 0x7fff}}
			if stamped {
				scan = append(scan, stored{"le:s64/64>>0", stamp})
			}
			block = append(block, encode(t, scan...)...)
			stamp += 1e6
		}
		if _, err = kernel.Write(block); err != nil {
			return err
		}
		<-tick.C
	}
}
