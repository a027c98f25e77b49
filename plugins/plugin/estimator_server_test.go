package plugin

import (
	"context"
	"errors"
	"io"
	"strconv"
	"sync"
	"testing"

	"google.golang.org/grpc"

	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// counter is an estimator that counts its summaries. Its methods are not safe for concurrent use, as an author may write them.
type counter struct {
	configured error
	restored   error
	observe    func(*Summary) error
	count      int
}

func (c *counter) Configure(_ context.Context, conductor Conductor, _ Settings) (string, error) {
	return "counts for " + conductor.Name, c.configured
}

func (c *counter) Observe(s *Summary) ([]*ChannelEstimate, error) {
	c.count++
	if c.observe != nil {
		if err := c.observe(s); err != nil {
			return nil, err
		}
	}
	return []*ChannelEstimate{{Name: "shunt", OffsetAmperes: float64(c.count)}}, nil
}

func (c *counter) Snapshot() ([]byte, error) { return []byte(strconv.Itoa(c.count)), nil }

func (c *counter) Restore(state []byte) (err error) {
	if c.restored != nil {
		return c.restored
	}
	c.count, err = strconv.Atoi(string(state))
	return err
}

type session = grpc.BidiStreamingClient[pluginv1.RunRequest, pluginv1.RunResponse]

// running gives the session of a configured estimator.
func running(ctx context.Context, t *testing.T, c *counter) (session, pluginv1.EstimatorServiceClient) {
	t.Helper()
	client, _ := serveEstimator(t, c)
	if _, err := client.Configure(t.Context(), &pluginv1.EstimatorServiceConfigureRequest{}); err != nil {
		t.Fatal(err)
	}
	s, err := client.Run(ctx)
	if err != nil {
		t.Fatal(err)
	}
	return s, client
}

func send(t *testing.T, s session, last uint64) {
	t.Helper()
	if err := s.Send(&pluginv1.RunRequest{Summary: &Summary{Device: "adc0", LastSequence: last}}); err != nil {
		t.Fatal(err)
	}
}

func TestEstimatorOrder(t *testing.T) {
	const unconfigured, again = "FailedPrecondition: not configured", "FailedPrecondition: already configured"
	type step struct{ call, want string }
	for name, c := range map[string]struct {
		estimator *counter
		steps     []step
	}{
		"as it should be": {&counter{}, []step{{"configure", "fine"}, {"restore", "fine"}, {"run", "fine"}, {"snapshot", "fine"}}},
		"without a state": {&counter{}, []step{{"configure", "fine"}, {"run", "fine"}}},
		"configure first": {&counter{}, []step{{"restore", unconfigured}, {"run", unconfigured}, {"snapshot", unconfigured}, {"configure", "fine"}, {"run", "fine"}}},
		"configured once": {&counter{}, []step{{"configure", "fine"}, {"configure", again}}},
		"one session":     {&counter{}, []step{{"configure", "fine"}, {"run", "fine"}, {"run", "FailedPrecondition: already running"}}},
		"restored before": {&counter{}, []step{
			{"configure", "fine"}, {"run", "fine"}, {"restore", "FailedPrecondition: already running: a state is restored before"},
		}},
		"settings refused": {&counter{configured: errors.New("setting walk: -1")}, []step{{"configure", "InvalidArgument: setting walk: -1"}, {"run", unconfigured}, {"configure", again}}},
		"state refused":    {&counter{restored: errors.New("of version 2")}, []step{{"configure", "fine"}, {"restore", "InvalidArgument: of version 2"}}},
		"no summary":       {&counter{}, []step{{"configure", "fine"}, {"run on nothing", "InvalidArgument: a request without a summary"}}},
		"observe fails": {&counter{observe: func(*Summary) error { return errors.New("singular") }}, []step{
			{"configure", "fine"}, {"run", "Aborted: summary of adc0 through 9: singular"},
		}},
	} {
		t.Run(name, func(t *testing.T) {
			client, _ := serveEstimator(t, c.estimator)
			for _, s := range c.steps {
				wantTold(t, s.call, callEstimator(t, client, s.call), s.want)
			}
		})
	}
}

func callEstimator(t *testing.T, client pluginv1.EstimatorServiceClient, name string) (err error) {
	t.Helper()
	request := &pluginv1.RunRequest{Summary: &Summary{Device: "adc0", LastSequence: 9}}
	switch name {
	case "configure":
		_, err = client.Configure(t.Context(), &pluginv1.EstimatorServiceConfigureRequest{})
	case "restore":
		_, err = client.Restore(t.Context(), &pluginv1.RestoreRequest{State: []byte("3")})
	case "snapshot":
		_, err = client.Snapshot(t.Context(), &pluginv1.SnapshotRequest{})
	case "run on nothing":
		request.Summary = nil
		fallthrough
	case "run":
		s, opening := client.Run(t.Context())
		if opening != nil {
			t.Fatal(opening)
		}
		if sending := errors.Join(s.Send(request), s.CloseSend()); sending != nil && !errors.Is(sending, io.EOF) {
			t.Fatal(sending)
		}
		_, err = s.Recv()
	}
	return err
}

func TestSessionAnswersEachSummaryInOrder(t *testing.T) {
	s, _ := running(t.Context(), t, &counter{})
	for k := range 100 {
		send(t, s, uint64(k))
	}
	if err := s.CloseSend(); err != nil {
		t.Fatal(err)
	}
	for k := range 100 {
		answer, err := s.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if answer.GetDevice() != "adc0" || answer.GetThroughSequence() != uint64(k) || answer.GetChannels()[0].GetOffsetAmperes() != float64(k+1) {
			t.Fatalf("answer %d: %v", k, answer)
		}
	}
	if _, err := s.Recv(); !errors.Is(err, io.EOF) {
		t.Errorf("after the last answer: %v, want the end", err)
	}
}

func TestSessionBreaksMidway(t *testing.T) {
	s, client := running(t.Context(), t, &counter{observe: func(s *Summary) error {
		if s.GetLastSequence() == 2 {
			return errors.New("singular")
		}
		return nil
	}})
	for k := range 2 {
		send(t, s, uint64(k+1))
	}
	if _, err := s.Recv(); err != nil {
		t.Fatal(err)
	}
	_, err := s.Recv()
	wantTold(t, "the second answer", err, "Aborted: summary of adc0 through 2: singular")
	state, err := client.Snapshot(t.Context(), &pluginv1.SnapshotRequest{})
	if err != nil || string(state.GetState()) != "2" {
		t.Errorf("snapshot after it: %q, %v", state.GetState(), err)
	}
}

func TestSessionEndsWithItsCaller(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	s, _ := running(ctx, t, &counter{})
	send(t, s, 1)
	if _, err := s.Recv(); err != nil {
		t.Fatal(err)
	}
	cancel()
	_, err := s.Recv()
	wantTold(t, "Recv", err, "Canceled: context canceled")
}

// A snapshot asked for while a summary is being worked on is the state after it.
func TestSnapshotFallsBetweenTwoSummaries(t *testing.T) {
	at, on := make(chan struct{}), make(chan struct{})
	s, client := running(t.Context(), t, &counter{observe: func(*Summary) error {
		close(at)
		<-on
		return nil
	}})
	send(t, s, 1)
	<-at
	snapshot := make(chan string)
	go func() {
		answer, err := client.Snapshot(context.WithoutCancel(t.Context()), &pluginv1.SnapshotRequest{})
		snapshot <- string(answer.GetState()) + " " + told(err)
	}()
	select {
	case early := <-snapshot:
		t.Errorf("snapshot %s in the middle of a summary", early)
	default:
	}
	close(on)
	if got := <-snapshot; got != "1 fine" {
		t.Errorf("snapshot %s, want the state after the summary", got)
	}
}

// The race detector is the judge: an author's estimator needs no lock.
func TestCallsOfAnEstimatorAreOneAtATime(t *testing.T) {
	s, client := running(t.Context(), t, &counter{})
	var snapshots sync.WaitGroup
	for range 4 {
		snapshots.Go(func() {
			last := 0
			for range 50 {
				answer, err := client.Snapshot(t.Context(), &pluginv1.SnapshotRequest{})
				count, parsing := strconv.Atoi(string(answer.GetState()))
				if err != nil || parsing != nil || count < last {
					t.Errorf("snapshot %q after %d: %v", answer.GetState(), last, err)
					return
				}
				last = count
			}
		})
	}
	for k := range 200 {
		send(t, s, uint64(k))
		if _, err := s.Recv(); err != nil {
			t.Fatal(err)
		}
	}
	snapshots.Wait()
}
