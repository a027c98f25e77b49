package estimatortest

import (
	"math"
	"math/rand/v2"

	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

const (
	second = int64(1e9)
	scans  = 10 // of a summary
)

// healthy gives the summaries of a minute and a half: load, a rest, load, lost scans within a rest, a device that starts again, and a channel
// without a usable reading. Each call gives the same.
func healthy() (all []*plugin.Summary) {
	random := rand.New(rand.NewPCG(1, 2))
	base := int64(0)
	for k := range uint64(90) {
		rest := pluginv1.Rest_REST_NONE
		if k >= 20 && k < 40 || k >= 50 {
			rest = pluginv1.Rest_REST_CERTAIN
		}
		switch k {
		case 5:
			rest = pluginv1.Rest_REST_UNSPECIFIED
		case 60:
			continue // lost
		case 75:
			base = -int64(k) * second
		}
		all = append(all, summary(random, Shunt, k, base, rest), summary(random, Magnetic, k, base, rest))
		if k == 30 {
			all[len(all)-1].Channels[0] = &plugin.ChannelSummary{Name: Magnetic, UnusableCount: scans}
		}
	}
	return charged(all)
}

func summary(random *rand.Rand, channel string, k uint64, base int64, rest pluginv1.Rest) *plugin.Summary {
	amperes, noise := 0.3, 0.2*random.NormFloat64()
	if rest != pluginv1.Rest_REST_CERTAIN {
		amperes = 100 * math.Sin(float64(k))
	}
	start := base + int64(k)*second
	return &plugin.Summary{
		Device: "device of " + channel, FirstSequence: k * scans, LastSequence: k*scans + scans - 1,
		FirstMonotonicNanos: start, LastMonotonicNanos: start + second*(scans-1)/scans, Rest: rest,
		Channels: []*plugin.ChannelSummary{{
			Name: channel, ReadingCount: scans, MeanAmperes: amperes + noise/math.Sqrt(scans), VarianceSquareAmperes: 0.04,
			MinimumAmperes: amperes - 0.4, MaximumAmperes: amperes + 0.4, TemperatureCelsius: 25, TemperatureKnown: true,
			IntegralSeconds: 1, IntegralCoulombs: amperes + noise/math.Sqrt(scans),
		}},
	}
}

// sick gives summaries of rests with figures that no good device makes; they follow on healthy.
func sick() (all []*plugin.Summary) {
	random := rand.New(rand.NewPCG(3, 4))
	for i, change := range []func(*plugin.ChannelSummary){
		func(c *plugin.ChannelSummary) { c.ReadingCount = 0 },
		func(c *plugin.ChannelSummary) { c.ReadingCount, c.VarianceSquareAmperes = 1, 0 },
		func(c *plugin.ChannelSummary) { c.MeanAmperes = math.NaN() },
		func(c *plugin.ChannelSummary) { c.MeanAmperes = math.Inf(1) },
		func(c *plugin.ChannelSummary) { c.MeanAmperes = -math.MaxFloat64 },
		func(c *plugin.ChannelSummary) { c.MeanAmperes = math.MaxFloat64 },
		func(c *plugin.ChannelSummary) { c.VarianceSquareAmperes = math.NaN() },
		func(c *plugin.ChannelSummary) { c.VarianceSquareAmperes = math.Inf(1) },
		func(c *plugin.ChannelSummary) { c.TemperatureCelsius = math.NaN() },
	} {
		for k := range uint64(8) { // long enough to be believed, if anything is
			s := summary(random, Shunt, 100+8*uint64(i)+k, 0, pluginv1.Rest_REST_CERTAIN)
			change(s.Channels[0])
			all = append(all, s)
		}
	}
	return all
}
