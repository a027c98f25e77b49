package service_test

import (
	"math"
	"runtime"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/daemon/service/servicetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

type readingsRequest = ampledgerv1.StreamReadingsRequest

// TestListConductors before and after readings came.
func TestListConductors(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewReadingServiceClient(rig.Connect())
	list := func() []*ampledgerv1.Conductor {
		response, err := client.ListConductors(t.Context(), &ampledgerv1.ListConductorsRequest{})
		if err != nil {
			t.Fatal(err)
		}
		return response.GetConductors()
	}
	before := list()
	if len(before) != 2 || before[0].GetHealthy() || len(before[0].GetFaults()) != 2 {
		t.Errorf("before any reading: %v", before)
	}
	rig.FeedAmperes("adc0", 1, 2, math.NaN(), 4)
	channel := func(name, device, input string, fed bool) *ampledgerv1.Channel {
		c := &ampledgerv1.Channel{Name: name, Sensor: "reported", Device: device, Input: input, FullScaleAmperes: 1e6}
		if fed {
			c.NewestSequence, c.ReadingCount, c.UnusableCount = 3, 4, 1
		}
		return c
	}
	want := []*ampledgerv1.Conductor{{
		Name: "pack", Positive: ampledgerv1.Direction_DIRECTION_DISCHARGE, ChargeFrom: "shunt", Healthy: true,
		Channels: []*ampledgerv1.Channel{channel("shunt", "adc0", "first", true), channel("hall", "adc0", "second", true)},
	}, {
		Name: "string", Positive: ampledgerv1.Direction_DIRECTION_CHARGE, ChargeFrom: "left", Faults: []string{"channel right: no reading yet"},
		Channels: []*ampledgerv1.Channel{channel("left", "adc0", "second", true), channel("right", "adc1", "first", false)},
	}}
	if diff := cmp.Diff(want, list(), protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
}

// TestReadingsRefused asks for what cannot be answered.
func TestReadingsRefused(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewReadingServiceClient(rig.Connect())
	for name, row := range map[string]struct {
		request       *readingsRequest
		code          codes.Code
		reason, field string
	}{
		"no conductor":      {&readingsRequest{}, codes.NotFound, "CONDUCTOR_UNKNOWN", ""},
		"unknown conductor": {&readingsRequest{Conductor: "tail"}, codes.NotFound, "CONDUCTOR_UNKNOWN", ""},
		"unknown channel":   {&readingsRequest{Conductor: "pack", Channels: []string{"shunt", "left"}}, codes.NotFound, "CHANNEL_UNKNOWN", ""},
		"negative rate":     {&readingsRequest{Conductor: "pack", MaxRateHertz: -1}, codes.InvalidArgument, "RATE_INVALID", "max_rate_hertz"},
		"rate is no number": {&readingsRequest{Conductor: "pack", MaxRateHertz: math.NaN()}, codes.InvalidArgument, "RATE_INVALID", "max_rate_hertz"},
		"infinite rate":     {&readingsRequest{Conductor: "pack", MaxRateHertz: math.Inf(1)}, codes.InvalidArgument, "RATE_INVALID", "max_rate_hertz"},
		"both starts": {
			&readingsRequest{Conductor: "pack", FromOldest: true, FromSequence: proto.Uint64(0)}, codes.InvalidArgument, "START_AMBIGUOUS", "from_oldest",
		},
		"a sequence of two devices": {
			&readingsRequest{Conductor: "string", FromSequence: proto.Uint64(0)}, codes.InvalidArgument, "START_AMBIGUOUS", "from_sequence",
		},
	} {
		t.Run(name, func(t *testing.T) {
			refused(t, fails(t, client.StreamReadings, row.request), row.code, row.reason, row.field)
		})
	}
}

// TestReadings follows a conductor from before its first reading to its device's end.
func TestReadings(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewReadingServiceClient(rig.Connect())
	live := open(t, client.StreamReadings, &readingsRequest{Conductor: "pack", Channels: []string{"hall"}})
	rig.Feed("adc0", 25)
	rig.End("adc0")
	later := open(t, client.StreamReadings, &readingsRequest{Conductor: "pack", Channels: []string{"hall"}, FromSequence: proto.Uint64(0)})
	for _, s := range []stream[ampledgerv1.StreamReadingsResponse]{live, later} {
		items, err := s.rest()
		if err != nil {
			t.Fatalf("the stream of a device that ended: %v", err)
		}
		next := uint64(0)
		for _, item := range items {
			f := item.GetFrame()
			if f.GetConductor() != "pack" || f.GetChannel() != "hall" || f.GetFirstSequence() != next || f.GetPrecedingCount() != next {
				t.Errorf("frame %v, %d was due", f, next)
			}
			next += uint64(len(f.GetCurrentAmperes()))
		}
		if next != 25 {
			t.Errorf("%d readings of 25", next)
		}
	}
}

// TestReadingsOfTwoDevices ends only with both.
func TestReadingsOfTwoDevices(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewReadingServiceClient(rig.Connect())
	both := open(t, client.StreamReadings, &readingsRequest{Conductor: "string"})
	one := open(t, client.StreamReadings, &readingsRequest{Conductor: "string", Channels: []string{"right"}, FromSequence: proto.Uint64(3)})
	rig.Feed("adc0", 5)
	rig.End("adc0")
	rig.Feed("adc1", 5)
	if f := both.next().GetFrame(); f.GetChannel() != "left" {
		t.Errorf("got %v", f)
	}
	if f := both.next().GetFrame(); f.GetChannel() != "right" {
		t.Errorf("got %v", f)
	}
	if f := one.next().GetFrame(); f.GetFirstSequence() != 3 || len(f.GetCurrentAmperes()) != 2 {
		t.Errorf("got %v", f)
	}
	rig.End("adc1")
	if items, err := both.rest(); err != nil || len(items) != 0 {
		t.Errorf("%v, %v", items, err)
	}
}

// TestReadingsStop ends the streams of a daemon that stops with UNAVAILABLE, after what is left.
func TestReadingsStop(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewReadingServiceClient(rig.Connect())
	s := open(t, client.StreamReadings, &readingsRequest{Conductor: "pack", Channels: []string{"shunt"}})
	rig.Feed("adc0", 5)
	rig.Conductor("pack").Hub.Close()
	items, err := s.rest()
	if len(items) != 1 {
		t.Errorf("got %v", items)
	}
	refused(t, err, codes.Unavailable, "STOPPING", "")
}

// TestReadingsLeave ends a stream that its subscriber leaves.
func TestReadingsLeave(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewReadingServiceClient(rig.Connect())
	s := open(t, client.StreamReadings, &readingsRequest{Conductor: "pack"})
	s.leave()
	if _, err := s.rest(); status.Code(err) != codes.Canceled {
		t.Errorf("ended with %v", err)
	}
	rig.Feed("adc0", 5) // to nobody
}

// TestStalledSubscriber stops reading for a long while: the pipeline goes on, the daemon does not grow, others lose nothing, and when it
// reads again it is told exactly what it lost.
func TestStalledSubscriber(t *testing.T) {
	const retained, scans, frames = 1 << 18, 1000, 400 // each frame of each channel is 16 kB
	rig := servicetest.New(t, retained)
	client := ampledgerv1.NewReadingServiceClient(rig.Connect())
	stalled := open(t, client.StreamReadings, &readingsRequest{Conductor: "pack", Channels: []string{"shunt"}})
	var before uint64
	for n := range frames {
		if n == 50 { // what the pipeline retains of its own is full
			before = heap()
		}
		rig.Feed("adc0", scans)
	}
	if grown := int64(heap()) - int64(before); grown > 2*retained { // of 17 MB that were fed
		t.Errorf("grown by %d bytes with two hubs of %d", grown, retained)
	}
	rig.End("adc0")
	items, err := stalled.rest()
	if err != nil {
		t.Fatal(err)
	}
	next, lost := uint64(0), uint64(0)
	for _, item := range items {
		if l := item.GetLost(); l != nil {
			if l.GetFirstSequence() != next || l.GetReadingCount() != l.GetLastSequence()-next+1 {
				t.Fatalf("lost %v, %d was due", l, next)
			}
			next, lost = l.GetLastSequence()+1, lost+l.GetReadingCount()
			continue
		}
		f := item.GetFrame()
		if f.GetFirstSequence() != next || f.GetCurrentAmperes()[0] != float64(next) {
			t.Fatalf("reading %d came, %d was due", f.GetFirstSequence(), next)
		}
		next += uint64(len(f.GetCurrentAmperes()))
	}
	if next != scans*frames || lost == 0 || lost == scans*frames {
		t.Errorf("%d readings accounted for, %d lost, of %d", next, lost, scans*frames)
	}
}

func heap() uint64 {
	runtime.GC()
	runtime.GC() // the first leaves what pools hold
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// TestReducedReadings gives buckets of both channels that end together.
func TestReducedReadings(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewReadingServiceClient(rig.Connect())
	s := open(t, client.StreamReadings, &readingsRequest{Conductor: "pack", MaxRateHertz: 2})
	rig.Feed("adc0", 21)
	rig.End("adc0")
	items, err := s.rest()
	if err != nil {
		t.Fatal(err)
	}
	coulombs, ends := map[string]float64{}, map[string][]uint64{}
	for _, item := range items {
		b := item.GetBucket()
		coulombs[b.GetChannel()] += b.GetMeanAmperes() * float64(b.GetDurationNanos()) / 1e9
		ends[b.GetChannel()] = append(ends[b.GetChannel()], b.GetLastSequence())
	}
	want := []uint64{5, 10, 15, 20}
	if !cmp.Equal(ends["shunt"], want) || !cmp.Equal(ends["hall"], want) || coulombs["shunt"] != 20 || coulombs["hall"] != 20 {
		t.Errorf("ends %v, charge %v C", ends, coulombs)
	}
}
