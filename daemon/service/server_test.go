package service_test

import (
	"context"
	"slices"
	"testing"

	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/daemon/service/servicetest"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

var services = []string{
	"ampledger.v1.AbuseService", "ampledger.v1.ChargeService", "ampledger.v1.CommissioningService", "ampledger.v1.EstimatorService", "ampledger.v1.ReadingService",
	"grpc.health.v1.Health", "grpc.reflection.v1.ServerReflection",
}

// TestHealth tells each service's health and each conductor's, which follows what is wrong with it.
func TestHealth(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := healthv1.NewHealthClient(rig.Connect())
	for _, name := range append(services, "") {
		response, err := client.Check(t.Context(), &healthv1.HealthCheckRequest{Service: name})
		if err != nil || response.GetStatus() != healthv1.HealthCheckResponse_SERVING {
			t.Errorf("%q: %v, %v", name, response, err)
		}
	}
	if _, err := client.Check(t.Context(), &healthv1.HealthCheckRequest{Service: "conductor/tail"}); status.Code(err) != codes.NotFound {
		t.Errorf("unknown conductor: %v", err)
	}
	s := open(t, client.Watch, &healthv1.HealthCheckRequest{Service: "conductor/pack"})
	for _, want := range []healthv1.HealthCheckResponse_ServingStatus{
		healthv1.HealthCheckResponse_NOT_SERVING, healthv1.HealthCheckResponse_SERVING, healthv1.HealthCheckResponse_NOT_SERVING,
	} {
		if got := s.next().GetStatus(); got != want {
			t.Fatalf("%v, want %v", got, want)
		}
		if want == healthv1.HealthCheckResponse_NOT_SERVING {
			rig.Feed("adc0", 1)
		} else {
			// What can never be stored stays in the recorder's health, and so in the conductor's.
			rig.Recorder.Post(store.Entry{}, nil)
		}
	}
}

// TestReflection lists the services to tools that know none of them.
func TestReflection(t *testing.T) {
	client := reflectionv1.NewServerReflectionClient(servicetest.New(t, servicetest.Retained).Connect())
	s, err := client.ServerReflectionInfo(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	request := &reflectionv1.ServerReflectionRequest{MessageRequest: &reflectionv1.ServerReflectionRequest_ListServices{}}
	if err := s.Send(request); err != nil {
		t.Fatal(err)
	}
	response, err := s.Recv()
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, service := range response.GetListServicesResponse().GetService() {
		names = append(names, service.GetName())
	}
	for _, want := range services {
		if !slices.Contains(names, want) {
			t.Errorf("%s is not listed: %v", want, names)
		}
	}
}

// panickingLedger is a store with a fault of the program.
type panickingLedger struct{ *store.Store }

// Balance implements service.Ledger.
func (panickingLedger) Count(context.Context, string, string) (entries, newest uint64, err error) {
	panic("at the wrong moment")
}

func (panickingLedger) Balance(context.Context, string, string, *int64, *int64) (store.Balance, error) {
	panic("at the wrong moment")
}

// Events implements service.Ledger.
func (panickingLedger) Events(context.Context, uint64, string, int) ([]*ampledgerv1.Event, error) {
	panic("at the wrong moment")
}

// TestPanic makes a panic in a call that call's error; the server goes on.
func TestPanic(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	rig.Backend.Ledger = panickingLedger{rig.Store}
	conn := rig.Connect()
	for range 2 {
		_, err := ampledgerv1.NewChargeServiceClient(conn).GetStatement(t.Context(), &ampledgerv1.GetStatementRequest{Conductor: "pack"})
		refused(t, err, codes.Internal, "PANIC", "")
		err = fails(t, ampledgerv1.NewAbuseServiceClient(conn).StreamEvents, &eventsRequest{AfterLogSequence: new(uint64)})
		refused(t, err, codes.Internal, "PANIC", "")
	}
	if _, err := ampledgerv1.NewReadingServiceClient(conn).ListConductors(t.Context(), &ampledgerv1.ListConductorsRequest{}); err != nil {
		t.Error(err)
	}
}
