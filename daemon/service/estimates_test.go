package service_test

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/zap"
	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/service/servicetest"
	"github.com/ampledger/ampledger/daemon/trail"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func keepTrail(t *testing.T, rig *servicetest.Rig) *trail.Trail {
	t.Helper()
	kept, err := trail.Open(filepath.Join(t.TempDir(), trail.FileName), trail.Config{Keep: 200 * 365 * 24 * time.Hour, Log: zap.NewNop()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := kept.Close(); err != nil {
			t.Error(err)
		}
	})
	rig.Backend.Trail = kept
	return kept
}

func recordOf(shadow string, second int64, offset, charge float64) *ampledgerv1.EstimateRecord {
	return &ampledgerv1.EstimateRecord{
		Conductor: "pack", Shadow: shadow, Device: "adc0", ThroughSequence: uint64(second), WallNanos: second * 1e9,
		Channels: []*ampledgerv1.ChannelRecord{{Channel: "shunt", OffsetKnown: true, OffsetAmperes: offset, ChargeChangeCoulombs: charge}},
	}
}

func nameOf(r *ampledgerv1.EstimateRecord) string {
	return fmt.Sprintf("%s%d", r.GetShadow(), r.GetThroughSequence())
}

// TestStreamEstimates gives the past that is recorded, then what comes, each once; with an end it ends.
func TestStreamEstimates(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	kept := keepTrail(t, rig)
	for second := range int64(5) {
		kept.Take(recordOf("", second, 1, 0))
		kept.Take(recordOf("mine", second, 2, 0))
	}
	if err := kept.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
	from, to := int64(3e9), int64(4e9)
	span := open(t, client.StreamEstimates, &ampledgerv1.StreamEstimatesRequest{Conductor: "pack", FromWallNanos: &from, ToWallNanos: &to})
	messages, err := span.rest()
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, m := range messages {
		names = append(names, nameOf(m.GetRecord()))
	}
	if diff := cmp.Diff([]string{"3", "mine3", "4", "mine4"}, names); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	rig.Backend.Trail = telling{kept, func() { rig.Backend.Estimates.Tell(recordOf("", 4, 1, 0)) }}
	s := open(t, client.StreamEstimates, &ampledgerv1.StreamEstimatesRequest{Conductor: "pack", FromWallNanos: &to})
	for _, want := range []string{"4", "mine4"} {
		if got := nameOf(s.next().GetRecord()); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
	rig.Backend.Estimates.Tell(recordOf("mine", 5, 1, 0))
	other := recordOf("", 5, 1, 0)
	other.Conductor = "string"
	rig.Backend.Estimates.Tell(other)
	rig.Backend.Estimates.Tell(recordOf("", 5, 1, 0))
	for _, want := range []string{"mine5", "5"} {
		if got := nameOf(s.next().GetRecord()); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
	rig.Backend.Estimates.Close()
	_, err = s.rest()
	refused(t, err, codes.Unavailable, "STOPPING", "")
}

// telling is a trail whose records are told, live, while they are read.
type telling struct {
	service.Trail
	tell func()
}

func (t telling) Read(ctx context.Context, conductor string, fromWall, toWall int64, yield func(*ampledgerv1.EstimateRecord) error) error {
	t.tell()
	return t.Trail.Read(ctx, conductor, fromWall, toWall, yield)
}

// TestStreamEstimatesLives follows an estimator that works.
func TestStreamEstimatesLives(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
	rig.Feed("adc0", 20)
	swap(t, client, swapRequest("fixed", 2))
	s := open(t, client.StreamEstimates, &ampledgerv1.StreamEstimatesRequest{Conductor: "pack"})
	rig.Feed("adc0", 10)
	got := s.next().GetRecord()
	if got.GetThroughSequence() != 29 || got.GetPlugin() != "fixed" || len(got.GetChannels()) != 2 || got.GetChannels()[0].GetOffsetAmperes() != 2 {
		t.Errorf("got %v", got)
	}
}

// TestSlowSubscriberOfEstimates is told how many records it missed, and where.
func TestSlowSubscriberOfEstimates(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
	s := open(t, client.StreamEstimates, &ampledgerv1.StreamEstimatesRequest{Conductor: "pack"})
	const told = 20_000
	for second := range int64(told) {
		rig.Backend.Estimates.Tell(recordOf("", second, 1, 0))
	}
	rig.Backend.Estimates.Close()
	messages, _ := s.rest()
	next, lost := uint64(0), uint64(0)
	for _, m := range messages {
		if r := m.GetRecord(); r != nil {
			if r.GetThroughSequence() != next {
				t.Fatalf("record %d came where %d was due", r.GetThroughSequence(), next)
			}
			next++
		}
		next, lost = next+m.GetLostCount(), lost+m.GetLostCount()
	}
	if next != told || lost == 0 {
		t.Errorf("%d records are accounted for, %d of them lost", next, lost)
	}
}

func TestStreamEstimatesRefused(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
	from, to := int64(2), int64(1)
	for _, c := range []struct {
		request       *ampledgerv1.StreamEstimatesRequest
		code          codes.Code
		reason, field string
	}{
		{&ampledgerv1.StreamEstimatesRequest{Conductor: "other"}, codes.NotFound, "CONDUCTOR_UNKNOWN", ""},
		{&ampledgerv1.StreamEstimatesRequest{Conductor: "pack", FromWallNanos: &from, ToWallNanos: &to}, codes.InvalidArgument, "SPAN_REVERSED", "to_wall_nanos"},
	} {
		stream, err := client.StreamEstimates(t.Context(), c.request)
		if err == nil {
			_, err = stream.Recv()
		}
		refused(t, err, c.code, c.reason, c.field)
	}
}

// TestCompareOverWhatIsRecorded: a span that begins before what is retained is compared by the records, those of another run of the daemon
// among them.
func TestCompareOverWhatIsRecorded(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	kept := keepTrail(t, rig)
	for second := range int64(5) {
		kept.Take(recordOf("", second, 1, 0))
		kept.Take(recordOf("mine", second, 3, float64(-2*second)))
	}
	if err := kept.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
	rig.Feed("adc0", 20)
	swap(t, client, swapRequest("fixed", 2))
	if _, err := client.AddShadow(t.Context(), shadowRequest("mine", "fixed", 5)); err != nil {
		t.Fatal(err)
	}
	from, far := int64(1e9), int64(math.MaxInt64)
	response, err := client.CompareEstimators(t.Context(), &ampledgerv1.CompareEstimatorsRequest{Conductor: "pack", FromWallNanos: &from, ToWallNanos: &far})
	if err != nil {
		t.Fatal(err)
	}
	of := response.GetComparisons()[1].GetChannels()[0]
	if of.GetSummaryCount() != 4 || of.GetMeanDifferenceAmperes() != 2 || of.GetChargeDifferenceCoulombs() != -6 || of.GetFromWallNanos() != 1e9 {
		t.Errorf("compared %v", of)
	}
}
