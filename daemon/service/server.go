package service

import (
	"context"
	"fmt"
	"net"
	"runtime/debug"
	"strconv"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Limits of the server.
const (
	maximumRequest = 1 << 20 // bytes; no request of ours is near it
	maximumStreams = 1000    // of one connection
	healthEvery    = time.Second
)

// Server is the gRPC server with all services, health and reflection.
type Server struct {
	*grpc.Server
	backend *Backend
	health  *health.Server
	feeding *feedServer
}

// NewServer registers the services. It starts nothing.
func NewServer(backend *Backend, log *zap.Logger) *Server {
	s := &Server{backend: backend, health: health.NewServer(), feeding: &feedServer{backend: backend}}
	s.Server = grpc.NewServer(
		grpc.ForceServerCodecV2(newCodec()),
		grpc.MaxRecvMsgSize(maximumRequest),
		grpc.MaxConcurrentStreams(maximumStreams),
		grpc.ConnectionTimeout(10*time.Second),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: 30 * time.Second, Timeout: 10 * time.Second}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 5 * time.Second, PermitWithoutStream: true}),
		grpc.UnaryInterceptor(recoverUnary(log)), grpc.StreamInterceptor(recoverStream(log)),
	)
	ampledgerv1.RegisterReadingServiceServer(s, &readingServer{backend: backend})
	ampledgerv1.RegisterChargeServiceServer(s, &chargeServer{backend: backend})
	ampledgerv1.RegisterAbuseServiceServer(s, &abuseServer{backend: backend})
	ampledgerv1.RegisterEstimatorServiceServer(s, &estimatorServer{backend: backend})
	ampledgerv1.RegisterCommissioningServiceServer(s, &commissioningServer{backend: backend})
	ampledgerv1.RegisterFeedServiceServer(s, s.feeding)
	healthv1.RegisterHealthServer(s, s.health)
	reflection.Register(s)
	s.refreshHealth()
	return s
}

// Serve answers calls until the server is stopped, and waits for what it started itself.
func (s *Server) Serve(on net.Listener) error {
	err := s.Server.Serve(on)
	s.feeding.wait()
	return err
}

// Run keeps the health service up to date until ctx ends: each service is serving; conductor/NAME is serving while it has no fault.
func (s *Server) Run(ctx context.Context) error {
	ticker := time.NewTicker(healthEvery)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			s.health.Shutdown()
			return nil
		case <-ticker.C:
			s.refreshHealth()
		}
	}
}

func (s *Server) refreshHealth() {
	for name := range s.GetServiceInfo() {
		s.health.SetServingStatus(name, healthv1.HealthCheckResponse_SERVING)
	}
	for _, c := range s.backend.Conductors {
		state := healthv1.HealthCheckResponse_SERVING
		if len(s.backend.faults(c)) > 0 {
			state = healthv1.HealthCheckResponse_NOT_SERVING
		}
		s.health.SetServingStatus("conductor/"+c.Name(), state)
	}
}

// recoverUnary turns a panic into an error with its stack in the log.
func recoverUnary(log *zap.Logger) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, request any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (response any, err error) {
		defer recovered(log, info.FullMethod, &err)
		return handle(ctx, request)
	}
}

// recoverStream is recoverUnary for streams.
func recoverStream(log *zap.Logger) grpc.StreamServerInterceptor {
	return func(service any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) (err error) {
		defer recovered(log, info.FullMethod, &err)
		return handle(service, stream)
	}
}

func recovered(log *zap.Logger, method string, err *error) {
	if cause := recover(); cause != nil {
		log.Error("a call panicked", zap.String("method", method), zap.Any("cause", cause), zap.ByteString("stack", debug.Stack()))
		*err = refuse(codes.Internal, "", "PANIC", fmt.Sprintf("%s failed inside: see the daemon's log", method))
	}
}

func quote(s string) string { return strconv.Quote(s) }
