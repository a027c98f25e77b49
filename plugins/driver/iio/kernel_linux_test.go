package iio

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"github.com/ampledger/ampledger/plugins/driver/internal/boottime"
)

const (
	kernelHertz    = 50_000
	kernelInterval = int64(1e9 / kernelHertz) // ns
	kernelJitter   = kernelInterval / 5       // of a time stamp, either way, ns
	kernelBytes    = 24                       // of a scan: four of 32 bits and the time stamp
	kernelTick     = 5 * time.Millisecond     // from one look at the clock to the next
	kernelForm     = "be:s24/32>>8"
)

// kernel is the kernel's end of a device with four channels: it takes scans at its rate by CLOCK_BOOTTIME once the buffer is enabled, stamps each as
// it is taken, and puts it into a buffer of the length that was set. As kfifo does, it drops a scan that finds no room there. The scans reach
// the reader through a FIFO once there are as many as the watermark, as poll would say.
//
// If the process does not run for a while, the scans due come at twice the rate until they are made up for: a machine that is busy with
// something else makes the run longer and loses nothing in it.
type kernel struct {
	sysfs  folder
	fifo   int
	chance *rand.Rand

	length, watermark int // scans
	begun             atomic.Int64
	dropped           atomic.Uint64
	drops             chan struct{} // has something after a drop
	lost              []span        // may be read once run has ended
	made              uint64
	late              time.Duration // the most that a scan was made after its time
	pending           []byte        // in the buffer, and fewer than the watermark
}

// span is a number of scans one after the other.
type span struct{ first, scans uint64 }

// pipeBytes is the most that Linux gives a user who is nobody special (pipe(7)). More than any buffer here needs, as pages are not always full.
const pipeBytes = 1 << 20

// newKernel makes a device below a new folder; it lives until the test ends.
func newKernel(t *testing.T) (k *kernel, root string) {
	t.Helper()
	attributes := map[string]string{
		"iio:device0/name": "adc", "iio:device0/in_voltage_scale": "0.001", "iio:device0/sampling_frequency": fmt.Sprint(kernelHertz),
		"iio:device0/current_timestamp_clock": "realtime",
		"iio:device0/buffer0/enable":          "0", "iio:device0/buffer0/length": "2", "iio:device0/buffer0/watermark": "1",
		"iio:device0/buffer0/in_timestamp_en": "0", "iio:device0/buffer0/in_timestamp_index": "4", "iio:device0/buffer0/in_timestamp_type": "le:s64/64>>0",
	}
	for i := range 4 {
		element := fmt.Sprintf("iio:device0/buffer0/in_voltage%d_", i)
		attributes[element+"en"], attributes[element+"index"], attributes[element+"type"] = "0", fmt.Sprint(i), kernelForm
	}
	root = tree(t, attributes)
	path := filepath.Join(root, "iio:device0")
	if err := unix.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	fd, err := unix.Open(path, unix.O_RDWR|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = unix.Close(fd) })
	if _, err := unix.FcntlInt(uintptr(fd), unix.F_SETPIPE_SZ, pipeBytes); err != nil {
		t.Fatal(err)
	}
	return &kernel{sysfs: folder(filepath.Join(root, "sys", "iio:device0", "buffer0")), fifo: fd, chance: rand.New(rand.NewPCG(7, 50)), drops: make(chan struct{}, 1)}, root
}

// run takes a number of scans, or as many as come until the context ends.
func (k *kernel) run(ctx context.Context, scans uint64) error {
	tick := time.NewTicker(kernelTick)
	defer tick.Stop()
	for k.made < scans {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		if err := k.step(scans); err != nil {
			return err
		}
	}
	return k.flush()
}

// step takes the scans that are due, at most twice as many as come in a tick.
func (k *kernel) step(scans uint64) error {
	now, err := boottime.Nanos()
	if err != nil {
		return err
	}
	if k.begun.Load() == 0 {
		return k.begin(now)
	}
	due := min(scans, uint64((now-k.begun.Load())/kernelInterval))
	if k.made < due {
		k.late = max(k.late, time.Duration(due-k.made)*time.Duration(kernelInterval))
	}
	room, err := k.room()
	if err != nil {
		return err
	}
	for most := 2 * kernelHertz * uint64(kernelTick) / 1e9; k.made < due && most > 0; most-- {
		if room > 0 {
			k.pending = k.take(k.pending)
			room--
		} else {
			k.drop()
		}
		k.made++
	}
	if len(k.pending) < k.watermark*kernelBytes {
		return nil
	}
	return k.flush()
}

// begin looks whether the buffer is enabled and how it was set.
func (k *kernel) begin(now int64) error {
	on, err := k.sysfs.text("enable")
	if err != nil || on != "1" {
		return err
	}
	length, err1 := k.sysfs.number("length")
	watermark, err2 := k.sysfs.number("watermark")
	k.length, k.watermark = int(length), int(min(length, watermark)) // the kernel cuts it
	k.begun.Store(now)
	return errors.Join(err1, err2)
}

// room tells how many scans the buffer has room for.
func (k *kernel) room() (int, error) {
	unread, err := unix.IoctlGetInt(k.fifo, unix.TIOCINQ)
	return k.length - (unread+len(k.pending))/kernelBytes, err
}

func (k *kernel) flush() error {
	n, err := unix.Write(k.fifo, k.pending)
	if err != nil || n != len(k.pending) {
		return fmt.Errorf("the FIFO took %d bytes of %d, though the buffer has room: %w", n, len(k.pending), err)
	}
	k.pending = k.pending[:0]
	return nil
}

// take appends the scan that is next.
func (k *kernel) take(to []byte) []byte {
	for _, code := range kernelCodes(k.made) {
		to = binary.BigEndian.AppendUint32(to, uint32(code)<<8|0x5a)
	}
	jitter := k.chance.Int64N(2*kernelJitter+1) - kernelJitter
	return binary.LittleEndian.AppendUint64(to, uint64(k.due(k.made)+jitter))
}

// due is the time of a scan without its jitter.
func (k *kernel) due(scan uint64) int64 { return k.begun.Load() + int64(scan)*kernelInterval }

func (k *kernel) drop() {
	if last := len(k.lost) - 1; last >= 0 && k.lost[last].first+k.lost[last].scans == k.made {
		k.lost[last].scans++
	} else {
		k.lost = append(k.lost, span{k.made, 1})
	}
	k.dropped.Add(1)
	select {
	case k.drops <- struct{}{}:
	default:
	}
}

// kernelCodes are the codes of a scan, of 24 bits with a sign. No two scans of a few minutes have the same.
func kernelCodes(scan uint64) [4]int32 {
	k := int32(scan)
	return [4]int32{k << 8 >> 8, -k << 8 >> 8, k * -1640531527 >> 8, []int32{-1 << 23, 1<<23 - 1}[scan%2]}
}
