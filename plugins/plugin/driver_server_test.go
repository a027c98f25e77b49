package plugin

import (
	"context"
	"errors"
	"io"
	"math"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/testing/protocmp"

	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// driver is a driver in parts.
type driver struct {
	configure func(device string, settings Settings) (*Description, error)
	stream    func(ctx context.Context, emit func(*Frame) error) error
}

func (d *driver) Configure(_ context.Context, device string, settings Settings) (*Description, error) {
	if d.configure == nil {
		return &Description{Inputs: []*Input{{Name: device}}}, nil
	}
	return d.configure(device, settings)
}

func (d *driver) Stream(ctx context.Context, emit func(*Frame) error) error {
	if d.stream == nil {
		return nil
	}
	return d.stream(ctx, emit)
}

// opened gives the stream of a configured driver.
func opened(ctx context.Context, t *testing.T, stream func(ctx context.Context, emit func(*Frame) error) error) grpc.ServerStreamingClient[Frame] {
	t.Helper()
	client, _ := serveDriver(t, &driver{stream: stream})
	if _, err := client.Configure(t.Context(), &pluginv1.DriverServiceConfigureRequest{}); err != nil {
		t.Fatal(err)
	}
	s, err := client.Stream(ctx, &pluginv1.StreamRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestDriverIsToldItsDeviceAndSettings(t *testing.T) {
	client, _ := serveDriver(t, &driver{configure: func(device string, s Settings) (*Description, error) {
		var with struct{ Rate float64 }
		err := s.Decode(&with)
		return &Description{Inputs: []*Input{{Name: device}}, NominalRateHertz: with.Rate}, err
	}})
	settings, err := NewSettings(map[string]any{"Rate": 50})
	if err != nil {
		t.Fatal(err)
	}
	_, err = client.Configure(t.Context(), &pluginv1.DriverServiceConfigureRequest{Device: "adc0", Settings: settings.fields})
	wantTold(t, "Configure", err, "fine")
	got, err := client.Describe(t.Context(), &pluginv1.DescribeRequest{})
	wantTold(t, "Describe", err, "fine")
	want := &Description{Inputs: []*Input{{Name: "adc0"}}, NominalRateHertz: 50}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Error("(-want +got):\n", diff)
	}
}

func TestDriverOrder(t *testing.T) {
	refusing := &driver{configure: func(string, Settings) (*Description, error) { return nil, errors.New(`unknown setting "x"`) }}
	silent := &driver{configure: func(string, Settings) (*Description, error) { return nil, nil }}
	type step struct{ call, want string }
	for name, c := range map[string]struct {
		driver *driver
		steps  []step
	}{
		"as it should be": {&driver{}, []step{{"configure", "fine"}, {"describe", "fine"}, {"describe", "fine"}, {"stream", "fine"}}},
		"configured once": {&driver{}, []step{{"configure", "fine"}, {"configure", "FailedPrecondition: already configured"}}},
		"configure first": {&driver{}, []step{
			{"describe", "FailedPrecondition: not configured"}, {"stream", "FailedPrecondition: not configured"},
			{"configure", "fine"}, {"stream", "fine"},
		}},
		"one stream": {&driver{}, []step{{"configure", "fine"}, {"stream", "fine"}, {"stream", "FailedPrecondition: already streaming"}}},
		"refused": {refusing, []step{
			{"configure", `InvalidArgument: unknown setting "x"`}, {"describe", "FailedPrecondition: not configured"},
			{"stream", "FailedPrecondition: not configured"}, {"configure", "FailedPrecondition: already configured"},
		}},
		"no description": {silent, []step{{"configure", "Internal: describes nothing"}, {"stream", "FailedPrecondition: not configured"}}},
	} {
		t.Run(name, func(t *testing.T) {
			client, _ := serveDriver(t, c.driver)
			for _, s := range c.steps {
				wantTold(t, s.call, call(t, client, s.call), s.want)
			}
		})
	}
}

func call(t *testing.T, client pluginv1.DriverServiceClient, name string) (err error) {
	t.Helper()
	switch name {
	case "configure":
		_, err = client.Configure(t.Context(), &pluginv1.DriverServiceConfigureRequest{})
	case "describe":
		_, err = client.Describe(t.Context(), &pluginv1.DescribeRequest{})
	case "stream":
		stream, opening := client.Stream(t.Context(), &pluginv1.StreamRequest{})
		if opening != nil {
			t.Fatal(opening)
		}
		if _, err = stream.Recv(); errors.Is(err, io.EOF) {
			err = nil
		}
	}
	return err
}

func TestStreamWorks(t *testing.T) {
	const count = 1000
	stream := opened(t.Context(), t, func(_ context.Context, emit func(*Frame) error) error {
		f := &Frame{ScanCount: 1, Columns: []*Column{{Values: []float64{0}}}} // used again: emit has sent it when it returns
		for k := range count {
			f.FirstSequence, f.Columns[0].Values[0] = uint64(k), float64(k)
			if err := emit(f); err != nil {
				return err
			}
		}
		return nil
	})
	for k := range count {
		f, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if f.GetFirstSequence() != uint64(k) || f.GetColumns()[0].GetValues()[0] != float64(k) {
			t.Fatalf("frame %d: %v", k, f)
		}
	}
	if _, err := stream.Recv(); !errors.Is(err, io.EOF) {
		t.Errorf("after the last frame: %v, want the end", err)
	}
}

func TestStreamBreaksMidway(t *testing.T) {
	for name, c := range map[string]struct {
		with error
		want string
	}{
		"an error":                  {errors.New("cable is off"), "Aborted: cable is off"},
		"the end of something else": {io.EOF, "Aborted: EOF"},
		"a deadline of its own":     {context.DeadlineExceeded, "Aborted: context deadline exceeded"},
		"an error with a code":      {status.Error(codes.DataLoss, "overrun"), "DataLoss: overrun"},
	} {
		t.Run(name, func(t *testing.T) {
			stream := opened(t.Context(), t, func(_ context.Context, emit func(*Frame) error) error {
				if err := emit(&Frame{ScanCount: 1}); err != nil {
					return err
				}
				return c.with
			})
			if _, err := stream.Recv(); err != nil {
				t.Fatal(err)
			}
			_, err := stream.Recv()
			wantTold(t, "after the first frame", err, c.want)
		})
	}
}

func TestStreamEndsWithItsCaller(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	refused := make(chan error, 1)
	stream := opened(ctx, t, func(ctx context.Context, emit func(*Frame) error) error {
		if err := emit(&Frame{ScanCount: 1}); err != nil {
			return err
		}
		<-ctx.Done()
		refused <- emit(&Frame{ScanCount: 1})
		return nil
	})
	if _, err := stream.Recv(); err != nil {
		t.Fatal(err)
	}
	cancel()
	if err := <-refused; err == nil {
		t.Error("emit has sent a frame to nobody")
	}
	_, err := stream.Recv()
	wantTold(t, "Recv", err, "Canceled: context canceled")
}

// A daemon that is behind holds the driver up: what is on the way is bounded.
func TestEmitBlocksWhileNobodyReads(t *testing.T) {
	var emitted atomic.Int64
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	large := &Frame{ScanCount: 1000, Columns: []*Column{{Values: make([]float64, 1000)}}}
	large.Columns[0].Values[0] = math.Pi
	stream := opened(ctx, t, func(ctx context.Context, emit func(*Frame) error) error {
		for emit(large) == nil {
			emitted.Add(1)
		}
		return ctx.Err()
	})
	// Each frame read makes room for about one more, however long the driver has had.
	const read = 500
	for range read {
		if _, err := stream.Recv(); err != nil {
			t.Fatal(err)
		}
	}
	const most = 500 // on the way: 4 MB
	if ahead := emitted.Load() - read; ahead > most {
		t.Errorf("the driver is %d frames ahead", ahead)
	}
}
