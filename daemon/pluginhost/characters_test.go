//go:build unix

package pluginhost_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"os/signal"
	"strings"
	"syscall"

	"github.com/hashicorp/go-hclog"
	goplugin "github.com/hashicorp/go-plugin"
	"google.golang.org/grpc"

	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// characters are the plugins that the tests start, by kind and name. What a liar does is in its settings.
var characters = map[string]func(){
	"driver/good":         func() { plugin.ServeDriver(&liar{}) },
	"driver/liar":         func() { plugin.ServeDriver(&liar{}) },
	"driver/sweeper":      func() { plugin.ServeDriver(&sweeper{}) },
	"driver/flood":        func() { plugin.ServeDriver(&flood{}) },
	"driver/stubborn":     beStubborn,
	"driver/parent":       beParent,
	"driver/hermit":       beHermit,
	"driver/silent":       func() { fmt.Fprintln(os.Stderr, "waiting"); hang() },
	"driver/deaf":         beDeaf,
	"driver/stranger":     func() { serveRaw(func(c *goplugin.ServeConfig) { c.MagicCookieValue = "another" }, nil) },
	"driver/future":       func() { serveRaw(func(c *goplugin.ServeConfig) { c.VersionedPlugins = at(c, 2) }, nil) },
	"driver/generous":     func() { serveRaw(nil, generous{}) },
	"driver/fast":         func() { plugin.ServeDriver(&fast{}) },
	"driver/quits":        func() { fmt.Fprintln(os.Stderr, "no such port: /dev/ttyUSB7"); os.Exit(3) },
	"floor":               beFloor,
	"driver/babbler":      func() { fmt.Println(strings.Repeat("babble", 100000)); hang() },
	"driver/counting":     func() { plugin.ServeEstimator(&counting{}) },
	"estimator/good":      func() { plugin.ServeEstimator(&counting{}) },
	"estimator/counting":  func() { plugin.ServeEstimator(&counting{}) },
	"estimator/deriving":  func() { plugin.ServeEstimator(&deriving{}) },
	"estimator/forger":    func() { serveRaw(nil, forger{}) },
	"estimator/liar":      func() { plugin.ServeDriver(&liar{}) },
	"estimator/forgetful": func() { serveRaw(nil, forger{ends: true}) },
}

func hang() { <-make(chan struct{}) }

// Settings of a liar.
type script struct {
	Configure string `json:"configure"` // "", "refuse", "panic", "hang"
	Describe  string `json:"describe"`  // a row of descriptions
	Frames    string `json:"frames"`    // a row of lies
}

// liar is a driver of two inputs whose frames are those of one row of the table lies.
type liar struct{ script }

func (l *liar) Configure(ctx context.Context, _ string, settings plugin.Settings) (*plugin.Description, error) {
	if err := settings.Decode(&l.script); err != nil {
		return nil, err
	}
	switch l.script.Configure {
	case "refuse":
		return nil, errors.New("setting bus: there is no i2c-9")
	case "panic":
		panic("bus is nil")
	case "hang":
		fmt.Fprintln(os.Stderr, "waiting")
		hang()
	}
	d := &plugin.Description{Inputs: []*plugin.Input{{Name: "a", Unit: "A"}, {Name: "c", Unit: "code"}}, NominalRateHertz: 10}
	if change := descriptions[l.script.Describe].change; change != nil {
		change(d)
	}
	return d, nil
}

func (l *liar) Stream(ctx context.Context, emit func(*plugin.Frame) error) error {
	tell := lies[l.Frames].tell
	if tell == nil {
		tell = func(ctx context.Context, emit func(*plugin.Frame) error) error { return emit(frame(0, 1)) }
	}
	return tell(ctx, emit)
}

// frame is good: n scans of the liar's two inputs.
func frame(first, n int) *plugin.Frame {
	f := &plugin.Frame{
		FirstSequence: uint64(first), FirstMonotonicNanos: int64(first) * 1e8, FirstWallNanos: 1e18, PeriodNanos: 1e8, ScanCount: uint32(n),
		Columns: []*plugin.Column{{Values: make([]float64, n)}, {Codes: make([]int32, n)}},
	}
	for k := range n {
		f.Columns[0].Values[k], f.Columns[1].Codes[k] = float64(first+k), int32(-k)
	}
	return f
}

// sweeper needs a moment to put its device in order when the stream ends.
type sweeper struct{ liar }

func (*sweeper) Stream(ctx context.Context, emit func(*plugin.Frame) error) error {
	if err := emit(frame(0, 1)); err != nil {
		return err
	}
	<-ctx.Done()
	exec.Command("/bin/sleep", "0.2").Run()
	fmt.Fprintln(os.Stderr, "the converter is asleep")
	return nil
}

const floodLines = 100_000

// flood writes to its standard error between two frames.
type flood struct{ liar }

func (*flood) Stream(_ context.Context, emit func(*plugin.Frame) error) error {
	for k := range 2 {
		if err := emit(frame(k, 1)); err != nil {
			return err
		}
		for n := range floodLines / 2 {
			fmt.Fprintln(os.Stderr, "line", n)
		}
	}
	return nil
}

// beStubborn ignores every signal it can and does not end when asked.
func beStubborn() {
	signal.Ignore(syscall.SIGTERM, syscall.SIGINT, syscall.SIGHUP)
	plugin.ServeDriver(&liar{})
	hang()
}

// beParent starts a process that holds its outputs open, then serves.
func beParent() {
	child := exec.Command("/bin/sleep", "1000")
	child.Stderr = os.Stderr
	if err := child.Start(); err != nil {
		panic(err)
	}
	fmt.Fprintln(os.Stderr, "child", child.Process.Pid)
	plugin.ServeDriver(&liar{})
}

// beHermit does so with a process that leaves the group and never ends by itself within the test; the test ends it.
func beHermit() {
	child := exec.Command("/bin/sleep", "1000")
	child.Stderr = os.Stderr
	child.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
	if err := child.Start(); err != nil {
		panic(err)
	}
	fmt.Fprintln(os.Stderr, "child", child.Process.Pid)
	plugin.ServeDriver(&liar{})
}

// beDeaf finishes its handshake and then accepts no connection.
func beDeaf() {
	address := os.Getenv(goplugin.EnvUnixSocketDir) + "/plugin-deaf"
	fd, err := syscall.Socket(syscall.AF_UNIX, syscall.SOCK_STREAM, 0)
	if err != nil {
		panic(err)
	}
	if err := errors.Join(syscall.Bind(fd, &syscall.SockaddrUnix{Name: address}), syscall.Listen(fd, 1)); err != nil {
		panic(err)
	}
	fmt.Printf("1|1|unix|%s|grpc|\n", address)
	fmt.Fprintln(os.Stderr, "waiting")
	hang()
}

// The raw servers do what the package for authors does not let one do.
type rawServer interface{ register(*grpc.Server) }

type rawPlugin struct {
	goplugin.NetRPCUnsupportedPlugin
	rawServer
}

func (p rawPlugin) GRPCServer(_ *goplugin.GRPCBroker, s *grpc.Server) error {
	if p.rawServer != nil {
		p.register(s)
	}
	return nil
}

func (rawPlugin) GRPCClient(context.Context, *goplugin.GRPCBroker, *grpc.ClientConn) (any, error) {
	return nil, errors.New("this process is a plugin")
}

func serveRaw(change func(*goplugin.ServeConfig), server rawServer) {
	config := &goplugin.ServeConfig{
		HandshakeConfig: plugin.Handshake, GRPCServer: goplugin.DefaultGRPCServer, Logger: hclog.NewNullLogger(),
		VersionedPlugins: map[int]goplugin.PluginSet{1: {"raw": rawPlugin{rawServer: server}}},
	}
	if change != nil {
		change(config)
	}
	goplugin.Serve(config)
}

func at(config *goplugin.ServeConfig, version int) map[int]goplugin.PluginSet {
	return map[int]goplugin.PluginSet{version: config.VersionedPlugins[1]}
}

// generous sends a frame over the limit of a message.
type generous struct {
	pluginv1.UnimplementedDriverServiceServer
}

func (g generous) register(s *grpc.Server) { pluginv1.RegisterDriverServiceServer(s, g) }

func (generous) Configure(context.Context, *pluginv1.DriverServiceConfigureRequest) (*pluginv1.DriverServiceConfigureResponse, error) {
	return &pluginv1.DriverServiceConfigureResponse{}, nil
}

func (generous) Describe(context.Context, *pluginv1.DescribeRequest) (*pluginv1.DescribeResponse, error) {
	return &pluginv1.DescribeResponse{Inputs: []*plugin.Input{{Name: "a", Unit: "A"}}}, nil
}

func (generous) Stream(_ *pluginv1.StreamRequest, stream grpc.ServerStreamingServer[plugin.Frame]) error {
	return stream.Send(&plugin.Frame{ScanCount: 1, Columns: []*plugin.Column{{Values: make([]float64, plugin.MaxMessageBytes/8)}}})
}

// counting is an estimator that counts its summaries; its settings say what it does wrong.
type counting struct {
	How    string    `json:"how"`
	Widths []float64 `json:"widths"`
	count  int
}

func (c *counting) PlayHalfWidths() map[string][]float64 {
	if c.Widths == nil {
		return nil
	}
	return map[string][]float64{"hall": nil, "shunt": c.Widths}
}

func (c *counting) Notes() []*plugin.Note {
	if c.How != "note" {
		return nil
	}
	return []*plugin.Note{{Channel: "shunt", Subject: "rest rejected", Text: fmt.Sprintf("summary %d", c.count)}}
}

func (c *counting) Configure(_ context.Context, conductor plugin.Conductor, settings plugin.Settings) (string, error) {
	return "counts for " + conductor.Name, settings.Decode(c)
}

func (c *counting) Observe(s *plugin.Summary) ([]*plugin.ChannelEstimate, error) {
	c.count++
	e := &plugin.ChannelEstimate{Name: "shunt", OffsetAmperes: float64(c.count), StandardUncertaintyAmperes: 0.5, WalkAmperesPerRootSecond: 0.25}
	switch c.How {
	case "nan":
		e.OffsetAmperes = math.NaN()
	case "negative uncertainty":
		e.StandardUncertaintyAmperes = -1
	case "infinite correction":
		e.CorrectionCoulombs = math.Inf(-1)
	case "absurd correction":
		e.CorrectionCoulombs = 1e13
	case "negative correction's uncertainty":
		e.CorrectionUncertaintyCoulombs = -1
	case "infinite walk":
		e.WalkAmperesPerRootSecond = math.Inf(1)
	case "another channel":
		e.Name = "hall"
	case "twice":
		return []*plugin.ChannelEstimate{e, e}, nil
	case "hang":
		fmt.Fprintln(os.Stderr, "waiting")
		hang()
	case "fail":
		return nil, errors.New("singular")
	case "exit":
		fmt.Fprintln(os.Stderr, "out of memory")
		os.Exit(7)
	}
	return []*plugin.ChannelEstimate{e}, nil
}

func (c *counting) Snapshot() ([]byte, error) {
	if c.How == "hang at snapshot" {
		hang()
	}
	return fmt.Appendf(nil, "counting/1 %d", c.count), nil
}

func (c *counting) Restore(state []byte) error {
	if c.How == "hang at restore" {
		hang()
	}
	if _, err := fmt.Sscanf(string(state), "counting/1 %d", &c.count); err != nil {
		return fmt.Errorf("no snapshot of counting/1: %w", err)
	}
	return nil
}

// forger is an estimator that answers for a summary it was not asked about; which, the device's name says. Or it ends its session.
type forger struct {
	pluginv1.UnimplementedEstimatorServiceServer
	ends bool
}

func (f forger) register(s *grpc.Server) { pluginv1.RegisterEstimatorServiceServer(s, f) }

func (forger) Configure(context.Context, *pluginv1.EstimatorServiceConfigureRequest) (*pluginv1.EstimatorServiceConfigureResponse, error) {
	return &pluginv1.EstimatorServiceConfigureResponse{}, nil
}

func (f forger) Run(stream grpc.BidiStreamingServer[pluginv1.RunRequest, pluginv1.RunResponse]) error {
	request, err := stream.Recv()
	if err != nil || f.ends {
		return err
	}
	answer := &pluginv1.RunResponse{Device: request.GetSummary().GetDevice(), ThroughSequence: request.GetSummary().GetLastSequence()}
	if answer.GetDevice() == "adc0" {
		answer.ThroughSequence--
	} else {
		answer.Device = "adc0"
	}
	if err := stream.Send(answer); err != nil {
		return err
	}
	_, err = stream.Recv()
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}
