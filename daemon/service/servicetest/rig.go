package servicetest

import (
	"context"
	"errors"
	"math"
	"net"
	"sync"
	"testing"

	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"

	"github.com/ampledger/ampledger/daemon/guard"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// Period is the time from scan to scan in ns.
const Period = 100_000_000

// Retained is how much memory the hubs retain unless a test says otherwise, in bytes: enough for all that a test feeds.
const Retained = 16 << 20

// Rig is the services with all that is behind them. Feed and what it calls belong to one goroutine.
type Rig struct {
	Store    *store.Store
	Recorder *store.Recorder
	Backend  *service.Backend
	Log      *zap.Logger

	t       testing.TB
	next    map[string]uint64 // sequence of each device's next scan
	clock   map[string]int64
	epoch   uint64
	current map[string]*service.Conductor
}

// New makes a rig on a new store in memory whose hubs retain so many bytes. It ends with the test.
func New(t testing.TB, retained int) *Rig {
	t.Helper()
	return On(t, retained, storetest.OpenMemory(t))
}

// On makes a rig on a store that the caller opened, as a daemon that was started again does.
func On(t testing.TB, retained int, on *store.Store) *Rig {
	t.Helper()
	r := &Rig{
		Store: on, Log: zap.NewNop(), t: t, epoch: 1, next: map[string]uint64{}, clock: map[string]int64{}, current: map[string]*service.Conductor{},
	}
	events, posted := service.NewEvents(), service.NewPosted()
	r.Recorder = store.NewRecorder(on, store.RecorderConfig{OnPosted: posted.Tell, OnRecorded: recorded(events)})
	r.Backend = &service.Backend{Ledger: on, Records: on, Events: events, Posted: posted, Estimates: service.NewEstimates(),
		Recording: r.Recorder.Health, Estimators: []string{"fixed", "dead", "dies", "mute"}}
	for _, config := range conductors {
		r.add(config, retained)
	}
	for _, device := range []string{"adc0", "adc1"} {
		r.bind(device)
	}
	r.runRecorder()
	return r
}

var conductors = []pipeline.ConductorConfig{
	{Name: "pack", ChargeFrom: "shunt", Lanes: []pipeline.LaneConfig{lane("shunt", "adc0", 0, high), lane("hall", "adc0", 1)}},
	{Name: "string", ChargeFrom: "left", ChargeIsPositive: true, Lanes: []pipeline.LaneConfig{lane("left", "adc0", 1), lane("right", "adc1", 0)}},
}

var high = guard.Setting{Name: "high", Side: guard.Either, Instantaneous: &guard.Instantaneous{PickupAmperes: 100, Scans: 1}}

func lane(name, device string, column int, elements ...guard.Setting) pipeline.LaneConfig {
	return pipeline.LaneConfig{
		Name: name, SensorKind: "reported", Device: device, Input: inputs[column].GetName(), GapBoundAmperes: 200, Guard: elements,
		Sensor: func(pipeline.Inputs) (sensor.Config, error) {
			return sensor.Config{
				Model: sensor.Reported{}, Input: column, Temperature: sensor.None, Supply: sensor.None, VoltsPerCount: 1, CalibrationA1: 1,
				MaximumAmperes: 1e6, NoiseAmperes: 0.1, ZeroAmperes: 0.01, GainRatio: 0.001,
			}, nil
		},
	}
}

var inputs = []*plugin.Input{{Name: "first", Unit: "A"}, {Name: "second", Unit: "A"}}

func (r *Rig) add(config pipeline.ConductorConfig, retained int) {
	config.PostNanos, config.EventPrefix, config.Start, config.Log = math.MaxInt64/4, r.t.Name(), start, r.Log
	config.RecordNanos, config.MostShadows = 50*Period, 8
	made, err := pipeline.NewConductor(config, &sink{r})
	if err != nil {
		r.t.Fatal(err)
	}
	c := &service.Conductor{Conductor: made, Hub: service.NewHub(retained), Opening: map[string]service.Opening{}}
	for _, lane := range made.Lanes() {
		balance, err := r.Store.Balance(context.Background(), config.Name, lane.Name, nil, nil)
		if errors.Is(err, store.ErrNoEntries) {
			continue
		}
		gaps, faulty := r.Store.Gaps(context.Background(), config.Name, lane.Name, nil, nil, 1000)
		if err = errors.Join(err, faulty); err != nil {
			r.t.Fatal(err)
		}
		c.Opening[lane.Name] = service.Opening{Balance: balance, Gaps: gaps}
	}
	r.current[config.Name] = c
	r.Backend.Conductors = append(r.Backend.Conductors, c)
	r.t.Cleanup(made.Close)
}

func (r *Rig) bind(device string) {
	settings := pipeline.DeviceSettings{GapNanos: 5 * Period, SummaryScans: 10, StaleNanos: 1e17, EstimateStaleNanos: math.MaxInt64}
	for _, c := range r.Backend.Conductors {
		if !c.Uses(device) {
			continue
		}
		if err := c.Bind(pipeline.NewInputs(device, &plugin.Description{Inputs: inputs}), settings); err != nil {
			r.t.Fatal(err)
		}
	}
}

func (r *Rig) runRecorder() {
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- r.Recorder.Run(ctx) }()
	r.t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			r.t.Errorf("recorder: %v", err)
		}
	})
}

// Conductor gives one by its name.
func (r *Rig) Conductor(name string) *service.Conductor { return r.current[name] }

// Next is the sequence of a device's next scan.
func (r *Rig) Next(device string) uint64 { return r.next[device] }

// Feed takes so many scans of a device through as one frame; reading n is n amperes.
func (r *Rig) Feed(device string, scans int) {
	amperes := make([]float64, scans)
	for k := range amperes {
		amperes[k] = float64(r.next[device] + uint64(k))
	}
	r.FeedAmperes(device, amperes...)
}

// FeedAmperes takes scans through as one frame. NaN stands for a reading that cannot be used.
func (r *Rig) FeedAmperes(device string, amperes ...float64) {
	f := &scan.Frame{
		Clock: scan.Clock{Epoch: r.epoch, Sequence: r.next[device], Wall: 1e18 + r.clock[device], Monotonic: r.clock[device], Period: Period},
		Count: len(amperes), Columns: []scan.Column{{Values: amperes}, {Values: amperes}},
	}
	for _, c := range r.Backend.Conductors {
		if c.Uses(device) {
			c.Apply(context.Background(), device, f)
		}
	}
	r.next[device] += uint64(len(amperes))
	r.clock[device] += int64(len(amperes)) * Period
}

// Skip lets a device lose scans: their sequences pass without readings.
func (r *Rig) Skip(device string, scans int) {
	r.next[device] += uint64(scans)
	r.clock[device] += int64(scans) * Period
}

// End lets a device come to its end.
func (r *Rig) End(device string) {
	for _, c := range r.Backend.Conductors {
		c.End(context.Background(), device)
	}
}

// Post posts what was counted and waits until it is on disk.
func (r *Rig) Post() {
	r.t.Helper()
	for _, c := range r.Backend.Conductors {
		c.Post(context.Background())
	}
	r.Flush()
}

// Flush waits until all that was told is on disk.
func (r *Rig) Flush() {
	r.t.Helper()
	if err := r.Recorder.Flush(context.Background()); err != nil {
		r.t.Fatal(err)
	}
}

// Serve serves the rig on a listener; stop cuts every connection and waits. The test's end stops it as well.
func (r *Rig) Serve(on net.Listener) (stop func()) {
	server := service.NewServer(r.Backend, r.Log)
	ctx, cancel := context.WithCancel(context.Background())
	var ended sync.WaitGroup
	ended.Go(func() {
		if err := server.Serve(on); err != nil && !errors.Is(err, grpc.ErrServerStopped) {
			r.t.Errorf("serve: %v", err)
		}
	})
	ended.Go(func() {
		if err := server.Run(ctx); err != nil {
			r.t.Errorf("run: %v", err)
		}
	})
	stop = sync.OnceFunc(func() {
		cancel()
		server.Stop()
		ended.Wait()
	})
	r.t.Cleanup(stop)
	return stop
}

// Connect serves the rig in memory and gives a connection to it, which ends with the test.
func (r *Rig) Connect() *grpc.ClientConn {
	r.t.Helper()
	listener := bufconn.Listen(1 << 16)
	r.Serve(listener)
	conn, err := grpc.NewClient("passthrough:///memory", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	if err != nil {
		r.t.Fatal(err)
	}
	r.t.Cleanup(func() {
		if err := conn.Close(); err != nil {
			r.t.Errorf("closing the connection: %v", err)
		}
	})
	return conn
}
