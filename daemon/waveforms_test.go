package daemon_test

import (
	"errors"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/daemon/config"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestWaveformsAfterAKill kills a daemon that keeps the readings of ten events a second. The next one has every event, and of each either whole
// readings around it, or those up to the kill with the reason, or says that there are none.
func TestWaveformsAfterAKill(t *testing.T) {
	_, folder := load(t, loaded)
	file := filepath.Join(folder, "pack.yaml")
	w := &witness{recorded: map[string]uint64{}, next: map[string]uint64{}}
	runAndKill(t, file, w, 4500*time.Millisecond)
	checkAfterKill(t, filepath.Join(folder, "state", "ampledger.sqlite"), w)
	c, err := config.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	s := serve(t, c)
	page, err := s.Abuse.ListEvents(s.ctx, &ampledgerv1.ListEventsRequest{Conductor: "pack", PageSize: 1000})
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]int{}
	for _, event := range page.GetEvents() {
		before := strings.HasPrefix(event.GetEventId(), "1/") // the kill
		if before && event.GetKind() == "instantaneous" && event.GetState() == ampledgerv1.EventState_EVENT_STATE_RAISED {
			found[checkWaveform(t, s, event)]++
		}
	}
	t.Logf("%v of %d changes of events", found, len(page.GetEvents()))
	if found["complete"] < 10 || found["short"] < 10 {
		t.Errorf("it shows little: %v", found)
	}
}

// checkWaveform looks at an event's waveform and says what it found.
func checkWaveform(t *testing.T, s *served, event *ampledgerv1.Event) string {
	t.Helper()
	stream, err := s.Abuse.GetWaveform(s.ctx, &ampledgerv1.GetWaveformRequest{EventId: event.GetEventId()})
	if err != nil {
		t.Fatal(err)
	}
	first, err := stream.Recv()
	if err != nil {
		for _, detail := range status.Convert(err).Details() {
			if info, is := detail.(*errdetails.ErrorInfo); is && info.GetReason() == "WAVEFORM_NEVER" {
				return "none"
			}
		}
		t.Errorf("event %s: %v", event.GetEventId(), err)
		return "wrong"
	}
	h, count, last := first.GetWaveform(), uint64(0), event.GetOnsetMonotonicNanos()-oneSecond
	for {
		item, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		f := item.GetFrame()
		if at := f.GetFirstMonotonicNanos(); at-last > f.GetPeriodNanos() && count > 0 {
			t.Errorf("event %s: a hole of %d ns", event.GetEventId(), at-last)
		}
		count += uint64(len(f.GetCurrentAmperes()))
		last = f.GetFirstMonotonicNanos() + int64(len(f.GetCurrentAmperes())-1)*f.GetPeriodNanos()
	}
	switch {
	case h.GetComplete() && (h.GetFirstSequence() > event.GetOnsetSequence() || last != event.GetOnsetMonotonicNanos()+2*oneSecond):
		t.Errorf("event %s: %d readings of %v", event.GetEventId(), count, h)
	case h.GetComplete():
		return "complete"
	case h.GetShortfall() != "the daemon ended before the window did" || count > 0 && count != h.GetLastSequence()-h.GetFirstSequence()+1:
		t.Errorf("event %s: %d readings of %v", event.GetEventId(), count, h)
	}
	return "short"
}

const oneSecond = int64(1_000_000_000) // ns
