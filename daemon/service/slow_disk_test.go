package service_test

import (
	"context"
	"fmt"
	"net"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"

	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// fsyncTakes is how long each commit of a slowDisk takes.
const fsyncTakes = 200 * time.Millisecond

// slowDisk is a store whose fsync takes its time.
type slowDisk struct{ *store.Store }

func (d slowDisk) sync() {
	timer := time.NewTimer(fsyncTakes)
	<-timer.C
}

// Append implements store.Appender.
func (d slowDisk) Append(ctx context.Context, batch store.Batch) (store.Positions, error) {
	at, err := d.Store.Append(ctx, batch)
	d.sync()
	return at, err
}

// PutWaveforms implements service.WaveformStore.
func (d slowDisk) PutWaveforms(ctx context.Context, parts []store.WaveformPart) error {
	defer d.sync()
	return d.Store.PutWaveforms(ctx, parts)
}

// abuseOnSlowDisk is what an event passes on its way to a client, on a slow disk, as the daemon puts it together.
type abuseOnSlowDisk struct {
	events    *service.Events
	recorder  *store.Recorder
	waveforms *service.Waveforms
	client    ampledgerv1.AbuseServiceClient
	stop      func()
}

func onSlowDisk(t testing.TB) *abuseOnSlowDisk {
	disk := slowDisk{storetest.OpenMemory(t)}
	a := &abuseOnSlowDisk{events: service.NewEvents()}
	a.recorder = store.NewRecorder(disk, store.RecorderConfig{OnRecorded: func(events []*ampledgerv1.Event) {
		for _, event := range events {
			a.events.Recorded(event)
		}
	}})
	a.waveforms = service.NewWaveforms(service.WaveformsConfig{
		Hubs: map[string]*service.Hub{"pack": service.NewHub(1 << 20)}, Store: disk, Tell: a.tell, EventPrefix: "1", AfterNanos: 1e9, Bytes: 1 << 20, Log: zap.NewNop(),
	})
	server := service.NewServer(&service.Backend{Ledger: disk.Store, Events: a.events, Waveforms: a.waveforms}, zap.NewNop())
	listener := bufconn.Listen(1 << 16)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 3)
	go func() { ended <- a.recorder.Run(ctx) }()
	go func() { ended <- a.waveforms.Run(ctx) }()
	go func() { ended <- server.Serve(listener) }()
	conn, err := grpc.NewClient("passthrough:///memory", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	a.client = ampledgerv1.NewAbuseServiceClient(conn)
	a.stop = func() {
		closing := conn.Close()
		cancel()
		server.Stop()
		for range cap(ended) {
			if err := <-ended; err != nil {
				t.Error(err)
			}
		}
		if closing != nil {
			t.Error(closing)
		}
	}
	return a
}

// tell does what the daemon's sink does with an event.
func (a *abuseOnSlowDisk) tell(event *ampledgerv1.Event) {
	a.events.Raised(event)
	a.recorder.Tell(event)
	a.waveforms.Watch(event)
}

func raisedNow(n int) *ampledgerv1.Event {
	return &ampledgerv1.Event{
		EventId: fmt.Sprint(n), State: ampledgerv1.EventState_EVENT_STATE_RAISED, Conductor: "pack", Channel: "shunt", Kind: "instantaneous", OnsetWallNanos: time.Now().UnixNano(),
	}
}

// TestRaisedDoesNotWaitForTheDisk lets one event after the other be raised while each commit takes 200 ms, by the bubble's clock: each reaches the
// client at once, that is in no time at all, and is recorded after at least one commit.
func TestRaisedDoesNotWaitForTheDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := onSlowDisk(t)
		ctx, cancel := context.WithCancel(t.Context())
		stream, err := a.client.StreamEvents(ctx, &ampledgerv1.StreamEventsRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := stream.Header(); err != nil {
			t.Fatal(err)
		}
		const events = 20
		go func() {
			for n := range events {
				a.tell(raisedNow(n))
				time.Sleep(30 * time.Millisecond)
			}
		}()
		for range 2 * events {
			item, err := stream.Recv()
			if err != nil {
				t.Fatal(err)
			}
			took := time.Duration(time.Now().UnixNano() - item.GetEvent().GetOnsetWallNanos())
			switch raised := item.GetDelivery() == ampledgerv1.Delivery_DELIVERY_RAISED; {
			case raised && took != 0:
				t.Errorf("event %s was raised %v before the client had it", item.GetEvent().GetEventId(), took)
			case !raised && (took < fsyncTakes || took > 3*fsyncTakes):
				t.Errorf("event %s is said to be recorded after %v", item.GetEvent().GetEventId(), took)
			}
		}
		cancel()
		a.stop()
	})
}

// BenchmarkRaised measures how long an event takes from being raised to its client, in memory, while each commit takes 200 ms.
func BenchmarkRaised(b *testing.B) {
	a := onSlowDisk(b)
	ctx, cancel := context.WithCancel(b.Context())
	stream, err := a.client.StreamEvents(ctx, &ampledgerv1.StreamEventsRequest{})
	if err != nil {
		b.Fatal(err)
	}
	if _, err := stream.Header(); err != nil {
		b.Fatal(err)
	}
	var all []int64
	for n := 0; b.Loop(); n++ {
		event := raisedNow(n)
		a.tell(event)
		for there := false; !there; {
			item, err := stream.Recv()
			if err != nil {
				b.Fatal(err)
			}
			there = item.GetLostCount() > 0 // what the recorder tells of at once may be more than a subscriber's queue holds
			if item.GetDelivery() == ampledgerv1.Delivery_DELIVERY_RAISED && item.GetEvent().GetEventId() == event.GetEventId() {
				all, there = append(all, time.Now().UnixNano()-event.GetOnsetWallNanos()), true
			}
		}
	}
	slices.Sort(all)
	b.ReportMetric(float64(all[len(all)/2])/1e3, "µs-p50")
	b.ReportMetric(float64(all[len(all)*99/100])/1e3, "µs-p99")
	b.ReportMetric(float64(b.N-len(all)), "lost")
	cancel()
	a.stop()
}
