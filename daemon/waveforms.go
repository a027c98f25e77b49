package daemon

import (
	"fmt"
	"time"

	"github.com/ampledger/ampledger/daemon/service"
)

// keepWaveforms makes what keeps the readings around each event of a guard element, and lets the services ask it.
func (r *running) keepWaveforms(to *sink, opening uint64) {
	abuse := r.config.Abuse
	config := service.WaveformsConfig{
		Hubs: to.hubs, Store: r.store, Tell: to.tell, EventPrefix: fmt.Sprint(opening),
		BeforeNanos: nanos(*abuse.BeforeSeconds), AfterNanos: nanos(*abuse.AfterSeconds), Bytes: int64(abuse.WaveformMegabytes * (1 << 20)),
		Log: r.options.Log.Named("waveforms"),
	}
	if abuse.WaveformDays != nil {
		config.MostAge = time.Duration(nanos(*abuse.WaveformDays * 86400))
	}
	to.waveforms = service.NewWaveforms(config)
	r.waveforms, r.backend.Waveforms = to.waveforms, to.waveforms
}
