package service

import (
	"testing"

	"go.uber.org/zap"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// BenchmarkPublish publishes frames of 1000 readings while no waveform is taken, and while one is.
func BenchmarkPublish(b *testing.B) {
	for _, name := range []string{"idle", "taking"} {
		b.Run(name, func(b *testing.B) {
			f := newFeed(b, 16<<20, "a")
			f.hub.encoder.pool = &framePools
			w := NewWaveforms(WaveformsConfig{Hubs: map[string]*Hub{"pack": f.hub}, BeforeNanos: 1e9, AfterNanos: 1 << 60, Log: zap.NewNop()})
			if name == "taking" {
				w.open = append(w.open, newWindow(raised("e", 1), f.hub.follow(w.woken), &w.config))
			}
			lane, r := f.lanes()[0], someReadings(1000)
			b.ReportAllocs()
			for b.Loop() {
				f.hub.Publish(lane, r)
				if name == "taking" {
					one := w.open[0]
					one.collect(w.scratch[:0])
					one.letGo()
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*1000), "ns/reading")
		})
	}
}

// BenchmarkWatch gives an event that has a waveform and one that has none, beside a channel alone.
func BenchmarkWatch(b *testing.B) {
	for name, state := range map[string]ampledgerv1.EventState{
		"taken": ampledgerv1.EventState_EVENT_STATE_RAISED, "passed over": ampledgerv1.EventState_EVENT_STATE_CLEARED,
	} {
		b.Run(name, func(b *testing.B) {
			w := NewWaveforms(WaveformsConfig{})
			event := raised("e", 1)
			event.State = state
			b.ReportAllocs()
			for b.Loop() {
				w.Watch(event)
				select {
				case <-w.asked:
				default:
				}
			}
		})
	}
	b.Run("floor", func(b *testing.B) {
		queue, event := make(chan *ampledgerv1.Event, mostWindows), raised("e", 1)
		b.ReportAllocs()
		for b.Loop() {
			queue <- event
			<-queue
		}
	})
}
