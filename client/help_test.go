package client_test

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"testing"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/daemon/service/servicetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

type (
	readingsRequest = ampledgerv1.StreamReadingsRequest
	readingsItem    = ampledgerv1.StreamReadingsResponse
)

// daemon is a rig on a socket that it is served on from time to time.
type daemon struct {
	*servicetest.Rig
	t    *testing.T
	path string
	stop func()
}

// newDaemon makes one that is not served yet.
func newDaemon(t *testing.T, retained int) *daemon {
	t.Helper()
	folder, err := os.MkdirTemp("", "") // a test's own folder may have too long a name for a socket
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(folder); err != nil {
			t.Error(err)
		}
	})
	return &daemon{Rig: servicetest.New(t, retained), t: t, path: filepath.Join(folder, "a%2fb?.sock")}
}

// start serves the rig.
func (d *daemon) start() {
	d.t.Helper()
	listener, err := net.Listen("unix", d.path)
	if err != nil {
		d.t.Fatal(err)
	}
	d.stop = d.Serve(listener)
}

// dial gives a client that is closed when the test ends.
func (d *daemon) dial() *client.Client {
	d.t.Helper()
	c, err := client.Dial("unix:" + d.path)
	if err != nil {
		d.t.Fatal(err)
	}
	d.t.Cleanup(func() {
		if err := c.Close(); err != nil {
			d.t.Error(err)
		}
	})
	return c
}

// following is a call that follows something in a goroutine of its own.
type following[M any] struct {
	t     *testing.T
	items chan *M
	ended chan error
	leave context.CancelFunc
}

// follow follows; each item waits to be taken.
func follow[Q, M any](t *testing.T, call func(context.Context, Q, func(*M) error) error, request Q) *following[M] {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	t.Cleanup(cancel)
	f := &following[M]{t, make(chan *M), make(chan error, 1), cancel}
	go func() {
		f.ended <- call(ctx, request, func(item *M) error {
			select {
			case f.items <- item:
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		})
	}()
	return f
}

// next waits for the next item.
func (f *following[M]) next() *M {
	f.t.Helper()
	select {
	case item := <-f.items:
		return item
	case err := <-f.ended:
		f.t.Fatalf("ended with %v", err)
		return nil
	}
}

// rest takes what is left and gives what the following ended with.
func (f *following[M]) rest() (items []*M, err error) {
	for {
		select {
		case item := <-f.items:
			items = append(items, item)
		case err := <-f.ended:
			return items, err
		}
	}
}
