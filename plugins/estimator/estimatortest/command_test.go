package estimatortest

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/hashicorp/go-hclog"
	goplugin "github.com/hashicorp/go-plugin"
	"go.uber.org/goleak"
	"google.golang.org/grpc"

	"github.com/ampledger/ampledger/plugins/plugin"
	"github.com/ampledger/ampledger/plugins/plugintest"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// The test's own executable is also the estimators that are checked: with the name of a character as its argument.
func TestMain(m *testing.M) {
	if len(os.Args) == 2 && characters[os.Args[1]] != nil {
		characters[os.Args[1]]()
		return
	}
	goleak.VerifyTestMain(m)
}

var characters = map[string]func(){
	"sound":             func() { plugin.ServeEstimator(newMean(func(*mean) {})) },
	"not a number":      func() { plugin.ServeEstimator(newMean(func(m *mean) { m.offset = math.NaN() })) },
	"negative":          func() { plugin.ServeEstimator(newMean(func(m *mean) { m.sure = -1 })) },
	"takes any setting": func() { plugin.ServeEstimator(newMean(func(m *mean) { m.anySetting = true })) },
	"takes any snapshot": func() {
		plugin.ServeEstimator(newMean(func(m *mean) { m.restore = func([]byte) error { return nil } }))
	},
	"forgets":          func() { plugin.ServeEstimator(newMean(func(m *mean) { m.forgets = true })) },
	"counts snapshots": func() { plugin.ServeEstimator(newMean(func(m *mean) { m.disturbed = true })) },
	"by chance":        func() { plugin.ServeEstimator(newMean(func(m *mean) { m.offset = float64(os.Getpid()) * 1e-12 })) },
	"answers for another": func() {
		serveRaw(&forger{mean: newMean(func(*mean) {}), forge: func(a *plugin.Answer) { a.ThroughSequence++ }})
	},
	"another device": func() {
		serveRaw(&forger{mean: newMean(func(*mean) {}), forge: func(a *plugin.Answer) { a.Device = "x" }})
	},
	"answers twice": func() { serveRaw(&forger{mean: newMean(func(*mean) {}), twice: true}) },
	"says unknown":  func() { serveRaw(&forger{mean: newMean(func(*mean) {})}) },
	"exits":         func() { plugin.ServeEstimator(newMean(func(m *mean) { m.observed = func() { os.Exit(5) } })) },
}

// mean estimates the mean of what was read in rests. Its faults are the test's to set.
type mean struct {
	sums, counts map[string]float64

	offset     float64 // added
	sure       float64 // times the uncertainty
	anySetting bool
	forgets    bool
	disturbed  bool
	restore    func([]byte) error
	observed   func()
}

func newMean(harm func(*mean)) *mean {
	m := &mean{sums: map[string]float64{}, counts: map[string]float64{}, sure: 1}
	harm(m)
	return m
}

func (m *mean) Configure(_ context.Context, _ plugin.Conductor, s plugin.Settings) (string, error) {
	if m.anySetting {
		return "mean", nil
	}
	return "mean", s.Decode(&struct{}{})
}

func (m *mean) Observe(s *plugin.Summary) (estimates []*plugin.ChannelEstimate, err error) {
	if m.observed != nil {
		m.observed()
	}
	for _, c := range s.GetChannels() {
		name, x := c.GetName(), c.GetMeanAmperes()
		if name != Shunt && name != Magnetic {
			return nil, errors.New("unknown channel")
		}
		if s.GetRest() == pluginv1.Rest_REST_CERTAIN && math.Abs(x) < 10 && c.GetReadingCount() > 1 {
			m.sums[name] += x
			m.counts[name]++
		}
		n := m.counts[name]
		estimates = append(estimates, &plugin.ChannelEstimate{
			Name: name, OffsetAmperes: m.sums[name]/(n+1) + m.offset, StandardUncertaintyAmperes: m.sure / math.Sqrt(1+n),
		})
	}
	return estimates, nil
}

func (m *mean) Snapshot() ([]byte, error) {
	if m.disturbed {
		m.counts[Shunt]++
	}
	if m.forgets {
		return []byte("mean 0 0 0 0"), nil
	}
	return fmt.Appendf(nil, "mean %x %x %x %x", m.sums[Shunt], m.counts[Shunt], m.sums[Magnetic], m.counts[Magnetic]), nil
}

func (m *mean) Restore(state []byte) error {
	if m.restore != nil {
		return m.restore(state)
	}
	var figures [4]float64
	_, err := fmt.Sscanf(string(state), "mean %g %g %g %g", &figures[0], &figures[1], &figures[2], &figures[3])
	m.sums[Shunt], m.counts[Shunt], m.sums[Magnetic], m.counts[Magnetic] = figures[0], figures[1], figures[2], figures[3]
	return err
}

// forger serves mean as the package for authors would not: it forges the answers and gives no status codes.
type forger struct {
	pluginv1.UnimplementedEstimatorServiceServer
	goplugin.NetRPCUnsupportedPlugin
	mean  *mean
	forge func(*plugin.Answer)
	twice bool
}

func (f *forger) GRPCServer(_ *goplugin.GRPCBroker, s *grpc.Server) error {
	pluginv1.RegisterEstimatorServiceServer(s, f)
	return nil
}

func (f *forger) GRPCClient(context.Context, *goplugin.GRPCBroker, *grpc.ClientConn) (any, error) {
	return nil, errors.New("this process is a plugin")
}

func (f *forger) Configure(_ context.Context, r *pluginv1.EstimatorServiceConfigureRequest) (*pluginv1.EstimatorServiceConfigureResponse, error) {
	for name := range r.GetSettings().GetFields() {
		return nil, errors.New("unknown setting " + name)
	}
	return &pluginv1.EstimatorServiceConfigureResponse{Method: "mean"}, nil
}

func (f *forger) Run(stream grpc.BidiStreamingServer[pluginv1.RunRequest, pluginv1.RunResponse]) error {
	for {
		request, err := stream.Recv()
		if err != nil {
			return err
		}
		answer, err := plugin.Ask(f.mean, request.GetSummary())
		if err != nil {
			return err
		}
		if f.forge != nil {
			f.forge(answer)
		}
		if err = stream.Send(answer); err == nil && f.twice {
			err = stream.Send(answer)
		}
		if err != nil {
			return err
		}
	}
}

func serveRaw(f *forger) {
	goplugin.Serve(&goplugin.ServeConfig{
		HandshakeConfig: plugin.Handshake, GRPCServer: goplugin.DefaultGRPCServer, Logger: hclog.NewNullLogger(),
		VersionedPlugins: map[int]goplugin.PluginSet{plugin.ProtocolVersion: {plugin.KindEstimator: f}},
	})
}

func character(name string) plugintest.Executable {
	return plugintest.Executable{Path: os.Args[0], Arguments: []string{name}, Environment: []string{"GORACE=atexit_sleep_ms=0"}}
}

func TestSoundCommand(t *testing.T) { RunCommand(t, character("sound"), nil) }

func TestSuiteFindsFaultsOfACommand(t *testing.T) {
	for _, c := range []struct{ name, check, want string }{
		{"not a number", "gives sound estimates", `channel "shunt": NaN A`},
		{"negative", "gives sound estimates", "± -1 A"},
		{"answers for another", "gives sound estimates", `summary of device of shunt through 9: the answer is for the summary of "device of shunt" through 10`},
		{"another device", "gives sound estimates", `the answer is for the summary of "x" through 9`},
		{"answers twice", "gives sound estimates", `summary of device of magnetic through 9: the answer is for the summary of "device of shunt" through 9`},
		{"exits", "gives sound estimates", "summary of device of shunt through 9: "},
		{"by chance", "gives the same again", "answered"},
		{"forgets", "knows after a restart what it knew", "after it is restored"},
		{"counts snapshots", "knows after a restart what it knew", "snapshot after 0 summaries: summary of device of shunt through 9: answered"},
		{"takes any snapshot", "refuses a foreign snapshot", `snapshot "" was restored`},
		{"takes any setting", "refuses an unknown setting by its name", "names no_such_setting"},
		{"says unknown", "refuses an unknown setting by its name", "status Unknown, want InvalidArgument if it is the settings"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := commands(character(c.name), nil)
			for _, each := range append(checks, asCommand...) {
				if each.name != c.check {
					continue
				}
				if err := s.make(t.Context(), each); err == nil || !strings.Contains(err.Error(), c.want) {
					t.Errorf("%s: error %v, want %s", c.check, err, c.want)
				}
			}
		})
	}
}
