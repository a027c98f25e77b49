package query

import (
	"context"
	"errors"
	"io"
	"math"
	"time"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/daemon/metrology/inspection"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// fusedSensor is the kind of the channel that combines the others.
const fusedSensor = "fused"

// inspectFlags are what is looked at, and what is known of it.
type inspectFlags struct {
	seconds         float64
	state, by, note string
}

func (f *inspectFlags) add(c *cobra.Command) {
	c.Flags().Float64Var(&f.seconds, "seconds", 10, "how long the channels are read, by their devices' clock, 0.1 to 600")
	c.Flags().StringVar(&f.state, "state", "", "what flows meanwhile: rest (contactor open), charge or discharge; default not known")
	c.Flags().StringVar(&f.by, "by", "", "who looks; goes into the paper")
	c.Flags().StringVar(&f.note, "note", "", "in words; goes into the paper")
}

func (f *inspectFlags) check() error {
	switch f.state {
	case "", "rest", "charge", "discharge":
	default:
		return cli.Usagef("--state %q is none of rest, charge, discharge", f.state)
	}
	if !(f.seconds >= 0.1 && f.seconds <= 600) {
		return cli.Usagef("--seconds %g must be from 0.1 to 600", f.seconds)
	}
	return nil
}

// flow is the state in the sign of the conductor's readings.
func (f *inspectFlags) flow(conductor *ampledgerv1.Conductor) inspection.Flow {
	chargeIsPositive := conductor.GetPositive() == ampledgerv1.Direction_DIRECTION_CHARGE
	switch {
	case f.state == "":
		return inspection.Unknown
	case f.state == "rest":
		return inspection.Nothing
	case (f.state == "charge") == chargeIsPositive:
		return inspection.Positive
	}
	return inspection.Negative
}

// mostInspected is how many readings of a channel are looked at.
const mostInspected = 1 << 20

// inspecting gathers what the channels read.
type inspecting struct {
	channels []inspection.Channel
	begun    map[string]int64 // by channel: monotonic time of its first reading
	nanos    int64
	over     int
}

// over stands for the begin of a channel that has been read.
const over = math.MinInt64

// read reads every channel for the time. What a device that is silent would have given is missing, which the findings say.
func (f *inspectFlags) read(ctx context.Context, daemon *client.Client, conductor *ampledgerv1.Conductor) ([]inspection.Channel, error) {
	r := &inspecting{begun: map[string]int64{}, nanos: int64(f.seconds * 1e9)}
	request := &ampledgerv1.StreamReadingsRequest{Conductor: conductor.GetName()}
	for _, ch := range conductor.GetChannels() {
		if ch.GetSensor() != fusedSensor {
			request.Channels = append(request.Channels, ch.GetName())
			r.channels = append(r.channels, inspection.Channel{Name: ch.GetName(), FullScaleAmperes: ch.GetFullScaleAmperes(), Counts: ch.GetSensor() != "reported"})
		}
	}
	ctx, cancel := context.WithTimeout(ctx, time.Duration(r.nanos)+answerWithin)
	defer cancel()
	stream, err := daemon.Readings.StreamReadings(ctx, request)
	for err == nil && r.over < len(r.channels) {
		var item *ampledgerv1.StreamReadingsResponse
		if item, err = stream.Recv(); err == nil {
			r.take(item.GetFrame())
		}
	}
	if err != nil && ctx.Err() == nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	return r.channels, nil
}

// take takes a frame's readings, up to the end of the time.
func (r *inspecting) take(frame *ampledgerv1.Frame) {
	for i := range r.channels {
		c := &r.channels[i]
		if c.Name != frame.GetChannel() {
			continue
		}
		if _, begun := r.begun[c.Name]; !begun {
			r.begun[c.Name] = frame.GetFirstMonotonicNanos()
		}
		c.NoiseAmperes, c.ZeroAmperes, c.GainRatio = frame.GetNoiseAmperes(), frame.GetZeroUncertaintyAmperes(), frame.GetGainUncertaintyRatio()
		for k, amperes := range frame.GetCurrentAmperes() {
			if r.isOver(c, frameTime(frame, k)) {
				return
			}
			if frameQuality(frame, k) != 0 {
				c.Unusable++
				continue
			}
			c.Nanos, c.Amperes = append(c.Nanos, frameTime(frame, k)), append(c.Amperes, amperes)
			if len(frame.GetRawValues()) > k {
				c.Raw = append(c.Raw, frame.GetRawValues()[k])
			}
		}
	}
}

// isOver counts a channel as read once its time is over.
func (r *inspecting) isOver(c *inspection.Channel, now int64) bool {
	begun := r.begun[c.Name]
	if begun != over && now-begun <= r.nanos && len(c.Amperes) < mostInspected {
		return false
	}
	if begun != over {
		r.begun[c.Name] = over
		r.over++
	}
	return true
}
