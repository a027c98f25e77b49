package service

import (
	"context"
	"errors"
	"math"
	"sync"

	"go.uber.org/zap"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
	"github.com/ampledger/ampledger/plugins/plugin"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// feed publishes readings of a real conductor to a hub. Each channel, a, b and so on, is a device of its own; reading n is n amperes.
type feed struct {
	hub       *Hub
	conductor *pipeline.Conductor
	pool      *countingPool
	next      map[string]uint64
	fed       map[string][]uint64 // sequences that have readings
	epoch     uint64
	estimator string // that the readings name
}

// T is what a test and rapid's have in common.
type T interface {
	Helper()
	Fatalf(format string, arguments ...any)
}

func newFeed(t T, retained int, channels ...string) *feed {
	t.Helper()
	f := &feed{hub: NewHub(retained), next: map[string]uint64{}, fed: map[string][]uint64{}, pool: newCountingPool(), epoch: 1}
	f.hub.encoder.pool = f.pool
	config := pipeline.ConductorConfig{Name: "pack", PostNanos: math.MaxInt64 / 4, Log: zap.NewNop()}
	for _, channel := range channels {
		config.Lanes = append(config.Lanes, pipeline.LaneConfig{Name: channel, Device: channel, Sensor: reported})
	}
	var err error
	if f.conductor, err = pipeline.NewConductor(config, f); err != nil {
		t.Fatalf("%v", err)
	}
	settings := pipeline.DeviceSettings{SummaryScans: 1 << 40, StaleNanos: 1e17, EstimateStaleNanos: math.MaxInt64}
	for _, channel := range channels {
		if err := f.conductor.Bind(pipeline.NewInputs(channel, &plugin.Description{}), settings); err != nil {
			t.Fatalf("%v", err)
		}
		f.next[channel] = 1000
	}
	return f
}

func reported(pipeline.Inputs) (sensor.Config, error) {
	return sensor.Config{
		Model: sensor.Reported{}, Temperature: sensor.None, Supply: sensor.None, VoltsPerCount: 1, CalibrationA1: 1, MaximumAmperes: 1e12,
		NoiseAmperes: 0.5,
	}, nil
}

// lanes are the conductor's.
func (f *feed) lanes() []*pipeline.Lane { return f.conductor.Lanes() }

// publish publishes count readings of a channel as one frame, after its device has lost skip scans itself.
func (f *feed) publish(channel string, skip, count int) {
	first := f.next[channel] + uint64(skip)
	amperes := make([]float64, count)
	for k := range amperes {
		amperes[k] = float64(first) + float64(k)
		f.fed[channel] = append(f.fed[channel], first+uint64(k))
	}
	f.next[channel] = first + uint64(count)
	f.conductor.Apply(context.Background(), channel, &scan.Frame{
		Clock: scan.Clock{Epoch: f.epoch, Sequence: first, Wall: 1e18 + int64(first)*1e6, Monotonic: int64(first) * 1e6, Period: 1e6},
		Count: count, Columns: []scan.Column{{Values: amperes}},
	})
}

// Readings implements pipeline.Sink.
func (f *feed) Readings(lane *pipeline.Lane, r *scan.Readings) {
	r.Estimator = f.estimator
	f.hub.Publish(lane, r)
}

// Event implements pipeline.Sink.
func (f *feed) Event(*ampledgerv1.Event) {}

// Post implements pipeline.Sink.
func (f *feed) Post(*pipeline.Posting) bool { return true }

// Keep implements pipeline.Sink.
func (f *feed) Keep(string, *pipeline.Kept) {}

func (f *feed) Estimated(*ampledgerv1.EstimateRecord, bool) {}

// Ended implements pipeline.Sink.
func (f *feed) Ended(string) { f.hub.End() }

// countingPool gives buffers large enough to be counted, and spoils those that come back, so that whoever still reads them shows.
type countingPool struct {
	mu       sync.Mutex
	out      map[*byte]bool
	encodes  int
	returned int
	twice    int
}

func newCountingPool() *countingPool { return &countingPool{out: map[*byte]bool{}} }

// frameBytes is what each small frame takes from the pool.
const frameBytes = 2048

// Get implements mem.BufferPool.
func (p *countingPool) Get(length int) *[]byte {
	p.mu.Lock()
	defer p.mu.Unlock()
	buffer := make([]byte, length, max(length, frameBytes))
	p.out[&buffer[:1][0]] = true
	p.encodes++
	return &buffer
}

// Put implements mem.BufferPool.
func (p *countingPool) Put(buffer *[]byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	whole := (*buffer)[:cap(*buffer)]
	if !p.out[&whole[0]] {
		p.twice++
	}
	delete(p.out, &whole[0])
	p.returned++
	for i := range whole {
		whole[i] = 0xff
	}
}

// check tells what is wrong with the references while nobody but the hub has any.
func (p *countingPool) check(h *Hub) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.twice != 0 || len(p.out) != len(h.entries) || p.returned != p.encodes-len(h.entries) {
		return errors.New("buffers are not each given back exactly once")
	}
	return nil
}

var errGone = errors.New("the subscriber is gone")

// inbox takes what a subscription sends, as a gRPC stream does.
type inbox struct {
	items []*ampledgerv1.StreamReadingsResponse
	room  int // items until sending fails
}

// Send implements sender.
func (b *inbox) Send(item *ampledgerv1.StreamReadingsResponse) error {
	if b.room--; b.room < 0 {
		return errGone
	}
	b.items = append(b.items, item)
	return nil
}

// SendMsg implements sender: it takes the reference over, whether it fails or not.
func (b *inbox) SendMsg(message any) error {
	data, err := newCodec().Marshal(message)
	if err != nil {
		return err
	}
	defer data.Free()
	item := new(ampledgerv1.StreamReadingsResponse)
	if err := proto.Unmarshal(data.Materialize(), item); err != nil {
		return err
	}
	return b.Send(item)
}
