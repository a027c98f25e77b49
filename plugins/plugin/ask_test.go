package plugin

import (
	"testing"
	"time"

	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// outspoken is an estimator that has more to say than estimates, and that ages.
type outspoken struct {
	counter
	age time.Duration
}

func (o *outspoken) Age(by time.Duration) { o.age = by }

func (o *outspoken) Notes() []*Note { return []*Note{{Subject: "heard"}} }

func (o *outspoken) Fused() *FusedCorrection {
	return &FusedCorrection{CorrectionCoulombs: o.age.Seconds(), CorrectionUncertaintyCoulombs: 2}
}

func (o *outspoken) Covariances() []*ErrorCovariance {
	return []*ErrorCovariance{{First: "shunt", Second: "hall", SquareAmperes: 3}}
}

func (o *outspoken) Outputs() []*Output { return []*Output{{Name: "age", Unit: "s"}} }

func (o *outspoken) Derived() []*OutputValue {
	return []*OutputValue{{Name: "age", Value: o.age.Seconds(), UncertaintyValue: 1}}
}

func (o *outspoken) WantsReadings() bool { return true }

// What an estimator can say beside its estimates reaches the daemon, and the time away reaches the estimator before it runs.
func TestAllThatAnEstimatorSays(t *testing.T) {
	for _, c := range []struct {
		away int64
		want float64
	}{{5e9, 5}, {-1, 0}} {
		e := &outspoken{}
		client, _ := serveEstimator(t, e)
		configured, err := client.Configure(t.Context(), &pluginv1.EstimatorServiceConfigureRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if len(configured.GetOutputs()) != 1 || configured.GetOutputs()[0].GetUnit() != "s" || !configured.GetWantsReadings() {
			t.Errorf("configured %v", configured)
		}
		if _, err := client.Restore(t.Context(), &pluginv1.RestoreRequest{State: []byte("3"), AwayNanos: c.away}); err != nil {
			t.Fatal(err)
		}
		s, err := client.Run(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		send(t, s, 1)
		answer, err := s.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if got := answer.GetFused(); got.GetCorrectionCoulombs() != c.want || got.GetCorrectionUncertaintyCoulombs() != 2 {
			t.Errorf("away for %d ns: fused %v", c.away, got)
		}
		if len(answer.GetCovariances()) != 1 || answer.GetCovariances()[0].GetSquareAmperes() != 3 || len(answer.GetNotes()) != 1 || answer.GetNotes()[0].GetSubject() != "heard" {
			t.Errorf("answer %v", answer)
		}
		if len(answer.GetOutputs()) != 1 || answer.GetOutputs()[0].GetValue() != c.want {
			t.Errorf("outputs %v", answer.GetOutputs())
		}
		if answer.GetChannels()[0].GetOffsetAmperes() != 4 {
			t.Errorf("the state was not restored: %v", answer.GetChannels())
		}
		if err := s.CloseSend(); err != nil {
			t.Fatal(err)
		}
	}
}
