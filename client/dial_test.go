package client_test

import (
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/daemon/service/servicetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestDialRefused gives addresses that no daemon can have.
func TestDialRefused(t *testing.T) {
	for _, address := range []string{"", "unix:", "tcp://localhost:7000", "http://localhost", "dns://8.8.8.8/a"} {
		if c, err := client.Dial(address); err == nil {
			t.Errorf("%q is taken", address)
			_ = c.Close()
		}
	}
}

// TestDial reaches every service of a daemon, whatever its socket is called, and says at the first call that nobody is there.
func TestDial(t *testing.T) {
	d := newDaemon(t, servicetest.Retained)
	absent := d.dial()
	if _, err := absent.Readings.ListConductors(t.Context(), &ampledgerv1.ListConductorsRequest{}); status.Code(err) != codes.Unavailable {
		t.Errorf("nobody is there: %v", err)
	}
	d.start()
	for _, address := range []string{d.path, "unix:" + d.path} {
		c, err := client.Dial(address)
		if err != nil {
			t.Fatal(err)
		}
		calls := map[string]func() error{
			"readings": func() error {
				_, err := c.Readings.ListConductors(t.Context(), &ampledgerv1.ListConductorsRequest{})
				return err
			},
			"charge": func() error {
				_, err := c.Charge.GetStatement(t.Context(), &ampledgerv1.GetStatementRequest{Conductor: "pack"})
				return err
			},
			"abuse": func() error {
				_, err := c.Abuse.ListEvents(t.Context(), &ampledgerv1.ListEventsRequest{})
				return err
			},
			"estimators": func() error {
				_, err := c.Estimators.ListEstimators(t.Context(), &ampledgerv1.ListEstimatorsRequest{})
				return err
			},
		}
		for name, call := range calls {
			if err := call(); err != nil {
				t.Errorf("%s, %s: %v", address, name, err)
			}
		}
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}
}
