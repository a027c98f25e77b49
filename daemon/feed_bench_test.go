package daemon_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
)

// BenchmarkFeed measures how long a frame of 1 ms (10 scans at 10 kHz, three inputs, two channels) takes from the rig and back, in turn with an empty
// unary call on a connection of its own: compare the two of one run.
func BenchmarkFeed(b *testing.B) {
	for _, mode := range []string{"live", "lockstep"} {
		b.Run(mode, func(b *testing.B) {
			c, _ := load(b, strings.Replace(estimated(mode), "rate_hertz: 1000", "rate_hertz: 10000", 1))
			s := serve(b, c)
			conn, err := grpc.NewClient("unix:"+c.Listen.Unix, grpc.WithTransportCredentials(insecure.NewCredentials()))
			if err != nil {
				b.Fatal(err)
			}
			defer func() {
				if err := conn.Close(); err != nil {
					b.Error(err)
				}
			}()
			health := healthv1.NewHealthClient(conn)
			f, rig := feedOf(b, s, "alpha"), &bench{periodNanos: 100_000}
			var frames, calls []time.Duration
			for b.Loop() {
				frame := rig.frame(10)
				began := time.Now()
				if _, err := f.Exchange(frame); err != nil {
					b.Fatal(err)
				}
				through := time.Now()
				if _, err := health.Check(s.ctx, &healthv1.HealthCheckRequest{}); err != nil {
					b.Fatal(err)
				}
				frames, calls = append(frames, through.Sub(began)), append(calls, time.Since(through))
			}
			if err := f.Close(); err != nil {
				b.Error(err)
			}
			for name, of := range map[string][]time.Duration{"frame": frames, "call": calls} {
				slices.Sort(of)
				b.ReportMetric(float64(of[len(of)/2].Nanoseconds())/1e3, name+"-p50-µs")
				b.ReportMetric(float64(of[len(of)*99/100].Nanoseconds())/1e3, name+"-p99-µs")
			}
			b.ReportMetric(frames[len(frames)/2].Seconds()/calls[len(calls)/2].Seconds(), "p50-ratio")
			b.ReportMetric(frames[len(frames)*99/100].Seconds()/calls[len(calls)*99/100].Seconds(), "p99-ratio")
		})
	}
}
