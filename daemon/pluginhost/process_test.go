package pluginhost

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// gRPC looks at a deadline by the clock, and may see it pass before the context does.
func TestFaultOfADeadlineIsItsCause(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		cause := errors.New("no answer to Configure within 1s")
		ctx, cancel := context.WithTimeoutCause(t.Context(), time.Millisecond, cause)
		defer cancel()
		p := &Process{command: &command{exited: make(chan struct{})}}
		if got := p.fault(ctx, status.Error(codes.DeadlineExceeded, "context deadline exceeded")); !errors.Is(got, cause) {
			t.Errorf("%v, want %v", got, cause)
		}
	})
}

// A broken connection is put down to the end of the process only if that comes soon.
func TestFaultOfAConnectionThatBrokeByItself(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &Process{command: &command{exited: make(chan struct{})}}
		began := time.Now()
		got := p.fault(t.Context(), status.Error(codes.Unavailable, "broken pipe"))
		if took := time.Since(began); got.Error() != "broken pipe" || took != lastMoment {
			t.Errorf("%v after %v", got, took)
		}
	})
}

func TestDeadlinesAreFilled(t *testing.T) {
	const usual, most = 10 * time.Second, 2 * time.Second
	for given, want := range map[Deadlines]Deadlines{
		{}: {usual, usual, usual, most},
		{Start: 1, Configure: 2, Answer: 3, Close: 4}:                       {1, 2, 3, 4},
		{Start: -1, Configure: time.Minute, Answer: -1, Close: time.Minute}: {usual, time.Minute, usual, most},
	} {
		if got := given.filled(); got != want {
			t.Errorf("%+v became %+v, want %+v", given, got, want)
		}
	}
}
