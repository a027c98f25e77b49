//go:build unix

package pluginhost_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/scan"
)

var frameLengths = []int{100, 1000}

// BenchmarkStream takes frames of one column of doubles from a driver's process.
func BenchmarkStream(b *testing.B) {
	for _, scans := range frameLengths {
		b.Run(fmt.Sprintf("scans=%d", scans), func(b *testing.B) {
			host, _ := newHost(b)
			s := open(b, startDriver(b, host, "fast", with{"scans": scans, "inputs": 1}))
			var f scan.Frame
			measure(b, scans, func() error { return s.Next(&f) })
		})
	}
}

// BenchmarkFloor takes as many bytes from a process over gRPC without TLS, decoding, checks or go-plugin: what cannot be had for less.
func BenchmarkFloor(b *testing.B) {
	for _, scans := range frameLengths {
		b.Run(fmt.Sprintf("scans=%d", scans), func(b *testing.B) {
			stream := openFloor(b, scans)
			var data []byte
			measure(b, scans, func() error { return stream.RecvMsg(&data) })
		})
	}
}

func measure(b *testing.B, scans int, next func() error) {
	b.Helper()
	if err := next(); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if err := next(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(scans)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

func openFloor(b *testing.B, scans int) grpc.ClientStream {
	b.Helper()
	socket := filepath.Join(b.TempDir(), "s")
	server := exec.Command(os.Args[0], "plugin", "floor", socket, fmt.Sprint(scans))
	output, err := server.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := server.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := server.Process.Kill(); err != nil {
			b.Error(err)
		}
		_ = server.Wait() // killed
	})
	if _, err := io.ReadFull(output, make([]byte, 1)); err != nil {
		b.Fatal(err)
	}
	connection, err := grpc.NewClient("unix:"+socket, grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.ForceCodecV2(rawCodec{})))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { connection.Close() })
	ctx, cancel := context.WithCancel(b.Context())
	b.Cleanup(cancel)
	stream, err := connection.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, "/floor/Stream")
	if err != nil {
		b.Fatal(err)
	}
	if err := errors.Join(stream.SendMsg(&[]byte{}), stream.CloseSend()); err != nil {
		b.Fatal(err)
	}
	return stream
}

// beFloor serves the bytes of one frame again and again.
func beFloor() {
	var scans int
	if _, err := fmt.Sscan(os.Args[4], &scans); err != nil {
		panic(err)
	}
	f := frame(0, scans)
	f.Columns = f.Columns[:1]
	data, err := proto.Marshal(f)
	if err != nil {
		panic(err)
	}
	listener, err := net.Listen("unix", os.Args[3])
	if err != nil {
		panic(err)
	}
	fmt.Println("ready")
	endless := func(_ any, stream grpc.ServerStream) error {
		for {
			if err := stream.SendMsg(&data); err != nil {
				return err
			}
		}
	}
	panic(grpc.NewServer(grpc.ForceServerCodecV2(rawCodec{}), grpc.UnknownServiceHandler(endless)).Serve(listener))
}

// rawCodec passes bytes as they are.
type rawCodec struct{}

var _ encoding.CodecV2 = rawCodec{}

func (rawCodec) Name() string { return "raw" }

func (rawCodec) Marshal(v any) (mem.BufferSlice, error) {
	return mem.BufferSlice{mem.SliceBuffer(*v.(*[]byte))}, nil
}

func (rawCodec) Unmarshal(data mem.BufferSlice, v any) error {
	*v.(*[]byte) = data.Materialize()
	return nil
}
