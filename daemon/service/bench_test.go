package service

import (
	"context"
	"fmt"
	"math"
	"net"
	"path/filepath"
	"sync"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// someReadings are as a quiet channel gives them.
func someReadings(n int) *scan.Readings {
	r := &scan.Readings{Clock: scan.Clock{Epoch: 1, Wall: 1e18, Period: 1e6}, Estimate: scan.Estimate{Estimator: "biasfilter", Generation: 1}}
	for k := range n {
		r.Amperes, r.Raw = append(r.Amperes, math.Sqrt(float64(k))), append(r.Raw, float64(k))
	}
	return r
}

// BenchmarkEncode encodes frames, beside the floor that marshals a new message into new memory.
func BenchmarkEncode(b *testing.B) {
	for _, n := range []int{100, 1000} {
		r := someReadings(n)
		lane := newFeed(b, 0, "a").lanes()[0]
		b.Run(fmt.Sprintf("%d", n), func(b *testing.B) {
			e := newEncoder()
			b.ReportAllocs()
			for b.Loop() {
				bytes, _, err := e.encode(lane, r)
				if err != nil {
					b.Fatal(err)
				}
				bytes.Free()
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*n), "ns/reading")
		})
		b.Run(fmt.Sprintf("%d/floor", n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				message := &ampledgerv1.StreamReadingsResponse{
					Item: &ampledgerv1.StreamReadingsResponse_Frame{Frame: slowFrame("pack", "a", r)},
				}
				if _, err := proto.Marshal(message); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*n), "ns/reading")
		})
	}
}

// BenchmarkFanOut delivers frames of 100 readings to subscribers on a unix socket that throw the bytes away, beside the floor where
// each delivery marshals.
func BenchmarkFanOut(b *testing.B) {
	for _, subscribers := range []int{1, 8, 32} {
		b.Run(fmt.Sprint(subscribers), func(b *testing.B) {
			f := newFeed(b, 64<<20, "a")
			f.hub.encoder.pool = &framePools
			c := &Conductor{Conductor: f.conductor, Hub: f.hub}
			fanOut(b, f, &readingServer{backend: &Backend{Conductors: []*Conductor{c}}}, subscribers)
		})
		b.Run(fmt.Sprintf("%d/floor", subscribers), func(b *testing.B) {
			f := newFeed(b, 64<<20, "a")
			f.hub.encoder.pool = &framePools
			message := &ampledgerv1.StreamReadingsResponse{
				Item: &ampledgerv1.StreamReadingsResponse_Frame{Frame: slowFrame("pack", "a", someReadings(100))},
			}
			fanOut(b, f, &marshallingServer{hub: f.hub, message: message}, subscribers)
		})
	}
}

// marshallingServer sends one and the same message for each frame, encoded each time.
type marshallingServer struct {
	ampledgerv1.UnimplementedReadingServiceServer
	hub     *Hub
	message *ampledgerv1.StreamReadingsResponse
}

// StreamReadings implements the call.
func (s *marshallingServer) StreamReadings(_ *ampledgerv1.StreamReadingsRequest, stream grpc.ServerStreamingServer[ampledgerv1.StreamReadingsResponse]) error {
	r, _ := s.hub.subscribe(false)
	defer r.close()
	if err := stream.SendHeader(nil); err != nil {
		return err
	}
	for {
		frames, more, err := r.next(stream.Context(), nil)
		if err != nil || !more {
			return err
		}
		for _, e := range frames {
			e.bytes.Free()
			if err := stream.Send(s.message); err != nil {
				return err
			}
		}
	}
}

// discarding is a codec of a subscriber that looks at nothing.
type discarding struct{ sharingCodec }

// Unmarshal implements encoding.CodecV2.
func (discarding) Unmarshal(mem.BufferSlice, any) error { return nil }

// fanOut publishes b.N frames, at most 64 ahead of any subscriber.
func fanOut(b *testing.B, f *feed, to ampledgerv1.ReadingServiceServer, subscribers int) {
	listener, err := net.Listen("unix", filepath.Join(b.TempDir(), "s"))
	if err != nil {
		b.Fatal(err)
	}
	server := grpc.NewServer(grpc.ForceServerCodecV2(newCodec()))
	ampledgerv1.RegisterReadingServiceServer(server, to)
	var all sync.WaitGroup
	all.Go(func() {
		if err := server.Serve(listener); err != nil {
			b.Error(err)
		}
	})
	got := make(chan struct{}, 64*subscribers)
	ctx, cancel := context.WithCancel(context.Background())
	for range subscribers {
		subscribe(ctx, b, &all, listener.Addr().String(), got)
	}
	b.ResetTimer()
	due := 0
	for range b.N {
		f.publish("a", 0, 100)
		for due += subscribers; due > 64*subscribers; due-- {
			<-got
		}
	}
	for ; due > 0; due-- {
		<-got
	}
	b.StopTimer()
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*subscribers), "ns/delivery")
	cancel()
	server.Stop()
	all.Wait()
}

// subscribe lets a subscriber on a connection of its own tell each frame it got.
func subscribe(ctx context.Context, b *testing.B, all *sync.WaitGroup, path string, got chan<- struct{}) {
	b.Helper()
	conn, err := grpc.NewClient("unix:"+path, grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.ForceCodecV2(discarding{sharingCodec{newCodec()}})))
	if err != nil {
		b.Fatal(err)
	}
	stream, err := ampledgerv1.NewReadingServiceClient(conn).StreamReadings(ctx, &ampledgerv1.StreamReadingsRequest{Conductor: "pack"})
	if err != nil {
		b.Fatal(err)
	}
	if _, err := stream.Header(); err != nil {
		b.Fatal(err)
	}
	all.Go(func() {
		defer func() {
			if err := conn.Close(); err != nil {
				b.Error(err)
			}
		}()
		for {
			if _, err := stream.Recv(); err != nil {
				return
			}
			got <- struct{}{}
		}
	})
}

// BenchmarkReduce takes a frame of 1000 readings through a reducer.
func BenchmarkReduce(b *testing.B) {
	frame := slowFrame("pack", "a", someReadings(1000))
	r := newReducer("a", 2, func(*ampledgerv1.Bucket) error { return nil })
	b.ReportAllocs()
	for b.Loop() {
		if err := r.add(frame, 1); err != nil {
			b.Fatal(err)
		}
		frame.FirstMonotonicNanos += 1e9
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*1000), "ns/reading")
}
