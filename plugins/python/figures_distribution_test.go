//go:build distribution

package python_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/plugin"
	"github.com/ampledger/ampledger/plugins/plugintest"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// A zero that does not walk, with a prior of variance P, read n times with variance R: the posterior has the precision 1/P + n/R, and its
// mean is Σx/R over that (the normal distribution's conjugate prior, as in Gelman et al., Bayesian Data Analysis, 3rd edition, section 2.5; cited
// from memory). A rest that is many deviations off is a note and changes nothing.
func TestRestMeanAgainstThePosterior(t *testing.T) {
	const p, r, n = 0.5 * 0.5, 0.2 * 0.2 / 10, 50
	session := observing(t, &plugin.Channel{Name: "shunt", ZeroUncertaintyAmperes: 0.5, NoiseAmperes: 0.2})
	random := rand.New(rand.NewPCG(1, 2))
	sum := 0.0
	for k := range n {
		x := 0.3 + math.Sqrt(r)*random.NormFloat64()
		sum += x
		got := session.answer(k, x).GetChannels()[0]
		precision := 1/p + float64(k+1)/r
		if d := got.GetOffsetAmperes() - sum/r/precision; math.Abs(d) > 1e-12 {
			t.Fatalf("rest %d: offset %.15g A, %g A off", k, got.GetOffsetAmperes(), d)
		}
		if d := got.GetStandardUncertaintyAmperes()*math.Sqrt(precision) - 1; math.Abs(d) > 1e-12 {
			t.Fatalf("rest %d: uncertainty %.15g A, %g of it off", k, got.GetStandardUncertaintyAmperes(), d)
		}
	}
	before := session.answer(n, math.NaN()).GetChannels()
	off := session.answer(n+1, 5)
	if len(off.GetNotes()) != 1 || off.GetNotes()[0].GetSubject() != "rest rejected" || !proto.Equal(off.GetChannels()[0], before[0]) {
		t.Errorf("5 A in a rest: %v, then %v", before, off)
	}
}

// session plays rests of a second to the estimator.
type session struct {
	t       *testing.T
	channel string
	wire    pluginv1.EstimatorService_RunClient
}

func observing(t *testing.T, channel *plugin.Channel) *session {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*plugintest.Patience)
	process, err := plugintest.Executable{Path: "./restmean.py", Plaintext: true}.Start(ctx, plugin.KindEstimator)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cancel()
		if err := process.Close(); err != nil {
			t.Error(err)
		}
	})
	service := process.Service().(pluginv1.EstimatorServiceClient)
	if _, err := service.Configure(ctx, &pluginv1.EstimatorServiceConfigureRequest{Conductor: "pack", Channels: []*plugin.Channel{channel}}); err != nil {
		t.Fatal(err)
	}
	wire, err := service.Run(ctx)
	if err != nil {
		t.Fatal(err)
	}
	return &session{t, channel.GetName(), wire}
}

func (s *session) answer(k int, mean float64) *plugin.Answer {
	s.t.Helper()
	at := int64(k) * int64(time.Second)
	err := s.wire.Send(&pluginv1.RunRequest{Summary: &plugin.Summary{
		Device: "rig", FirstSequence: uint64(10 * k), LastSequence: uint64(10*k + 9), FirstMonotonicNanos: at, LastMonotonicNanos: at + 9e8,
		Rest:     pluginv1.Rest_REST_CERTAIN,
		Channels: []*plugin.ChannelSummary{{Name: s.channel, ReadingCount: 10, MeanAmperes: mean}},
	}})
	if err != nil {
		s.t.Fatal(err)
	}
	answer, err := s.wire.Recv()
	if err != nil {
		s.t.Fatal(err)
	}
	return answer
}
