package service

import (
	"context"
	"slices"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/pipeline"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// readingServer serves ampledger.v1.ReadingService.
type readingServer struct {
	ampledgerv1.UnimplementedReadingServiceServer
	backend *Backend
}

// ListConductors implements the call.
func (s *readingServer) ListConductors(context.Context, *ampledgerv1.ListConductorsRequest) (*ampledgerv1.ListConductorsResponse, error) {
	response := &ampledgerv1.ListConductorsResponse{}
	for _, c := range s.backend.Conductors {
		response.Conductors = append(response.Conductors, s.backend.describe(c))
	}
	return response, nil
}

// describe gives a conductor with its channels and its health.
func (b *Backend) describe(c *Conductor) *ampledgerv1.Conductor {
	conductor := &ampledgerv1.Conductor{
		Name: c.Name(), Positive: ampledgerv1.Direction_DIRECTION_DISCHARGE, ChargeFrom: c.ChargeFrom(), Faults: b.faults(c),
	}
	conductor.Healthy = len(conductor.Faults) == 0
	if c.ChargeIsPositive() {
		conductor.Positive = ampledgerv1.Direction_DIRECTION_CHARGE
	}
	for _, h := range c.Health() {
		conductor.Channels = append(conductor.Channels, &ampledgerv1.Channel{
			Name: h.Lane.Name, Sensor: h.Lane.SensorKind, Device: h.Lane.Device, Input: h.Lane.Input, FullScaleAmperes: h.FullScale, InForceSequence: h.InForce,
			NewestSequence: h.Newest, ReadingCount: h.Readings, UnusableCount: h.Unusable,
		})
	}
	return conductor
}

// faults lists what keeps a conductor from being healthy.
func (b *Backend) faults(c *Conductor) (faults []string) {
	for _, d := range b.Devices {
		if fault := d.Fault(); fault != "" && c.Uses(d.Name()) {
			faults = append(faults, "device "+d.Name()+": "+fault)
		}
	}
	for _, h := range c.Health() {
		switch {
		case h.Stale:
			faults = append(faults, "channel "+h.Lane.Name+": no usable reading lately")
		case !h.AnyReading:
			faults = append(faults, "channel "+h.Lane.Name+": no reading yet")
		}
	}
	if err := c.EstimatorFault(); err != nil {
		faults = append(faults, err.Error())
	}
	if err := c.Hub.Fault(); err != nil {
		faults = append(faults, err.Error())
	}
	if b.Recording != nil {
		if err := b.Recording(); err != nil {
			faults = append(faults, "store: "+err.Error())
		}
	}
	return faults
}

// StreamReadings implements the call.
func (s *readingServer) StreamReadings(request *ampledgerv1.StreamReadingsRequest, stream grpc.ServerStreamingServer[ampledgerv1.StreamReadingsResponse]) error {
	conductor, err := s.backend.conductor(request.GetConductor())
	if err != nil {
		return err
	}
	lanes, err := chosenLanes(conductor, request)
	if err != nil {
		return err
	}
	sub := newSubscription(conductor.Hub, lanes, request, stream)
	defer sub.close()
	// Headers now, so that a caller knows that it misses nothing from here on.
	if err := stream.SendHeader(nil); err != nil {
		return err
	}
	return sub.run(stream.Context())
}

// chosenLanes gives the channels asked for and refuses what cannot be answered.
func chosenLanes(c *Conductor, request *ampledgerv1.StreamReadingsRequest) ([]*pipeline.Lane, error) {
	var lanes []*pipeline.Lane
	for _, lane := range c.Lanes() {
		if len(request.GetChannels()) == 0 || slices.Contains(request.GetChannels(), lane.Name) {
			lanes = append(lanes, lane)
		}
	}
	for _, name := range request.GetChannels() {
		if !slices.ContainsFunc(lanes, func(l *pipeline.Lane) bool { return l.Name == name }) {
			return nil, refuse(codes.NotFound, "channel", "CHANNEL_UNKNOWN", "conductor "+quote(c.Name())+" has no channel "+quote(name))
		}
	}
	return lanes, checkStart(lanes, request)
}

func checkStart(lanes []*pipeline.Lane, request *ampledgerv1.StreamReadingsRequest) error {
	rate := request.GetMaxRateHertz()
	switch {
	case !(rate >= 0 && rate <= 1e6):
		return refuse(codes.InvalidArgument, "max_rate_hertz", "RATE_INVALID", "max_rate_hertz must lie between 0 and 1000000")
	case request.FromSequence == nil:
		return nil
	case request.GetFromOldest():
		return refuse(codes.InvalidArgument, "from_oldest", "START_AMBIGUOUS", "give either from_sequence or from_oldest")
	}
	for _, lane := range lanes {
		if lane.Device != lanes[0].Device {
			return refuse(codes.InvalidArgument, "from_sequence", "START_AMBIGUOUS",
				"channels of several devices have no sequence in common: name channels of one device")
		}
	}
	return nil
}

// sender is what a subscription needs of a gRPC stream.
type sender interface {
	Send(*ampledgerv1.StreamReadingsResponse) error
	SendMsg(any) error
}

var _ sender = grpc.ServerStreamingServer[ampledgerv1.StreamReadingsResponse](nil)
