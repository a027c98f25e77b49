package daemon_test

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"syscall"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/daemon"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// refusal is what an error says to programs and to people.
type refusal struct {
	code                codes.Code
	reason, field, text string // text = a part of the message
}

func (r refusal) check(t *testing.T, err error) {
	t.Helper()
	s := status.Convert(err)
	var reason, field string
	for _, detail := range s.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			reason = d.GetReason()
		case *errdetails.BadRequest:
			field = d.GetFieldViolations()[0].GetField()
		}
	}
	if s.Code() != r.code || reason != r.reason || field != r.field || !strings.Contains(s.Message(), r.text) {
		t.Errorf("got %v (%s, field %q), want %v, %s, field %q, %q", err, reason, field, r.code, r.reason, r.field, r.text)
	}
}

// TestFramesThatAreRefused gives a daemon frames that cannot be meant, each from a rig of its own that goes on with the session. Each is refused and changes
// nothing: the good frames in between make one row of readings without a hole.
func TestFramesThatAreRefused(t *testing.T) {
	c, _ := load(t, fed("live", ""))
	s := serve(t, c)
	invalid := func(text string) refusal { return refusal{codes.InvalidArgument, "FRAME_INVALID", "frame", text} }
	mark := func(m *ampledgerv1.FeedMark) func(*ampledgerv1.FeedFrame) {
		return func(f *ampledgerv1.FeedFrame) { f.Marks = append(f.Marks, m) }
	}
	rig := &bench{}
	good := func(f *client.Feeder) {
		t.Helper()
		if answer, err := f.Exchange(rig.frame(10)); err != nil || answer.GetFirstDeviceSequence() != rig.first-10 {
			t.Fatalf("a good frame is answered by %v, %v", answer, err)
		}
	}
	f := feedOf(t, s, "alpha")
	good(f)
	for _, of := range []struct {
		name  string
		wrong func(*ampledgerv1.FeedFrame)
		want  refusal
	}{
		{"repeated", func(f *ampledgerv1.FeedFrame) { f.FirstSequence -= 10 }, refusal{codes.OutOfRange, "SEQUENCE_REPEATED", "", "is due"}},
		{"going back by one", func(f *ampledgerv1.FeedFrame) { f.FirstSequence-- }, refusal{codes.OutOfRange, "SEQUENCE_REPEATED", "", "is due"}},
		{"far ahead", func(f *ampledgerv1.FeedFrame) { f.FirstSequence += 1<<40 + 1 }, refusal{codes.OutOfRange, "SEQUENCE_BEYOND", "", "new session"}},
		{"no scan", func(f *ampledgerv1.FeedFrame) { f.ScanCount = 0 }, invalid("holds 0 scans")},
		{"too many scans", func(f *ampledgerv1.FeedFrame) { f.ScanCount = 65537 }, invalid("1 to 65536")},
		{"a column too few", func(f *ampledgerv1.FeedFrame) { f.Columns = f.Columns[:2] }, invalid("has 2 columns for 3 inputs")},
		{"a column too many", func(f *ampledgerv1.FeedFrame) { f.Columns = append(f.Columns, f.Columns[0]) }, invalid("has 4 columns for 3 inputs")},
		{"a value too few", func(f *ampledgerv1.FeedFrame) { f.Columns[1].Values = f.Columns[1].Values[1:] }, invalid(`input "meter": has 9 values for 10 scans`)},
		{"nothing in a column", func(f *ampledgerv1.FeedFrame) { f.Columns[1].Values = nil }, invalid(`input "meter": has 0 values`)},
		{"values for codes", func(f *ampledgerv1.FeedFrame) { f.Columns[0], f.Columns[1] = f.Columns[1], f.Columns[0] }, invalid(`input "shunt_code": is in counts`)},
		{"codes for values", func(f *ampledgerv1.FeedFrame) { f.Columns[1] = f.Columns[0] }, invalid(`input "meter": is in A`)},
		{"both", func(f *ampledgerv1.FeedFrame) { f.Columns[0].Values = []float64{1} }, invalid(`input "shunt_code"`)},
		{"no time", func(f *ampledgerv1.FeedFrame) { f.PeriodNanos = 0 }, invalid("0 time offsets for 10 scans")},
		{"negative period", func(f *ampledgerv1.FeedFrame) { f.PeriodNanos = -1 }, invalid("period is negative")},
		{"time out of range", func(f *ampledgerv1.FeedFrame) { f.FirstMonotonicNanos = math.MaxInt64 }, invalid("time is out of range")},
		{"mark of no input", mark(&ampledgerv1.FeedMark{Input: "shunt", ScanCount: 1, QualityBits: 1}), invalid(`mark 0: there is no input "shunt"`)},
		{"mark beyond", mark(&ampledgerv1.FeedMark{FirstIndex: 9, ScanCount: 2, QualityBits: 1}), invalid("the scans 9 to 10 of 10")},
		{"mark of nothing", mark(&ampledgerv1.FeedMark{ScanCount: 1}), invalid("quality_bits are 0")},
		{"mark of the clock", mark(&ampledgerv1.FeedMark{ScanCount: 1, QualityBits: 32}), invalid("a wrong clock as it is")},
		{"mark of no scan", mark(&ampledgerv1.FeedMark{QualityBits: 1}), invalid("marks no scan")},
		{"too many marks", func(f *ampledgerv1.FeedFrame) { f.Marks = make([]*ampledgerv1.FeedMark, 1025) }, invalid("1025 marks")},
	} {
		t.Run(of.name, func(t *testing.T) {
			frame := (&bench{first: rig.first}).frame(10)
			of.wrong(frame)
			_, err := f.Exchange(frame)
			of.want.check(t, err)
			_, again := f.Exchange((&bench{first: rig.first}).frame(10))
			of.want.check(t, again)
			session := f.Session()
			if f, err = s.Feed(s.ctx, &ampledgerv1.FeedHello{Device: "bench", Rig: "alpha", Session: session}); err != nil {
				t.Fatal(err)
			}
			good(f)
		})
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
	if a := statementOf(t, s); a.GetReadingCount() != rig.first || a.GetUnusable().GetLostCount() != 0 || a.GetGaps().GetGapCount() != 0 {
		t.Errorf("%d readings, want %d: %v", a.GetReadingCount(), rig.first, a)
	}
}

// TestAFrameOf100MB is refused by the client before it goes out, and by the daemon if it does; the rig may come back.
func TestAFrameOf100MB(t *testing.T) {
	c, _ := load(t, fed("live", ""))
	s := serve(t, c)
	f, rig := feedOf(t, s, "alpha"), &bench{}
	large := (&bench{}).frame(10)
	large.Marks = append(large.Marks, &ampledgerv1.FeedMark{Input: strings.Repeat("x", 100e6)})
	if _, err := f.Exchange(large); err == nil || !strings.Contains(err.Error(), "give fewer scans at a time") {
		t.Errorf("the client says %v", err)
	}
	if _, err := f.Exchange(rig.frame(10)); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
	stream, err := s.Feeds.Feed(s.ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, request := range []*ampledgerv1.FeedRequest{
		{Item: &ampledgerv1.FeedRequest_Hello{Hello: &ampledgerv1.FeedHello{Device: "bench", Rig: "alpha", Session: f.Session()}}},
		{Item: &ampledgerv1.FeedRequest_Frame{Frame: large}},
	} {
		if err := stream.Send(request); err != nil && !errors.Is(err, io.EOF) {
			t.Fatal(err)
		}
	}
	for err == nil {
		_, err = stream.Recv()
	}
	refusal{codes.ResourceExhausted, "", "", "larger than max"}.check(t, err)
	again, err := s.Feed(s.ctx, &ampledgerv1.FeedHello{Device: "bench", Rig: "alpha", Session: f.Session()})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := again.Exchange(rig.frame(10)); err != nil {
		t.Error(err)
	}
	if err := again.Close(); err != nil {
		t.Error(err)
	}
}

// TestHellosThatAreRefused names what is wrong with each.
func TestHellosThatAreRefused(t *testing.T) {
	c, _ := load(t, strings.Replace(fed("live", `
  - name: other
    channels: [{name: a, device: broken, input: a, reported: {}}]
`), "conductors:", "  - {name: broken, driver: feed, with: {inputs: [{name: b, unit: A}]}}\nconductors:", 1))
	s := serve(t, c)
	hello := func(device, rig, session string) *ampledgerv1.FeedRequest {
		return &ampledgerv1.FeedRequest{Item: &ampledgerv1.FeedRequest_Hello{Hello: &ampledgerv1.FeedHello{Device: device, Rig: rig, Session: session}}}
	}
	for name, of := range map[string]struct {
		first *ampledgerv1.FeedRequest
		want  refusal
	}{
		"a frame first":  {&ampledgerv1.FeedRequest{Item: &ampledgerv1.FeedRequest_Frame{Frame: (&bench{}).frame(1)}}, refusal{codes.InvalidArgument, "HELLO_INVALID", "hello", "begins with a hello"}},
		"nothing":        {nil, refusal{codes.InvalidArgument, "HELLO_INVALID", "hello", "begins with a hello"}},
		"no device":      {hello("", "alpha", "1"), refusal{codes.NotFound, "DEVICE_UNKNOWN", "", `there are "bench", "broken"`}},
		"no such device": {hello("bank", "alpha", "1"), refusal{codes.NotFound, "DEVICE_UNKNOWN", "", `no device "bank" is fed`}},
		"no rig":         {hello("bench", "", "1"), refusal{codes.InvalidArgument, "HELLO_INVALID", "hello.rig", "1 to 256 bytes"}},
		"no session":     {hello("bench", "alpha", ""), refusal{codes.InvalidArgument, "HELLO_INVALID", "hello.session", "1 to 256 bytes"}},
		"long session":   {hello("bench", "alpha", strings.Repeat("s", 257)), refusal{codes.InvalidArgument, "HELLO_INVALID", "hello.session", "1 to 256 bytes"}},
		"broken device":  {hello("broken", "alpha", "1"), refusal{codes.FailedPrecondition, "DEVICE_FAULTY", "", `device broken has no input "a"; it has b`}},
	} {
		t.Run(name, func(t *testing.T) {
			stream, err := s.Feeds.Feed(s.ctx)
			if err != nil {
				t.Fatal(err)
			}
			if of.first != nil {
				if err := stream.Send(of.first); err != nil {
					t.Fatal(err)
				}
			}
			if err := stream.CloseSend(); err != nil {
				t.Fatal(err)
			}
			_, err = stream.Recv()
			of.want.check(t, err)
		})
	}
}

// TestInjectedFaultsAreFlags marks scans and gives wrong values and a wrong clock: every one of them is a flag of the readings made of it.
func TestInjectedFaultsAreFlags(t *testing.T) {
	c, _ := load(t, fed("lockstep", ""))
	s := serve(t, c)
	f, rig := feedOf(t, s, "alpha"), &bench{}
	frame := rig.frame(10)
	frame.Marks = []*ampledgerv1.FeedMark{
		{FirstIndex: 1, ScanCount: 1, QualityBits: 1}, {Input: "meter", FirstIndex: 2, ScanCount: 2, QualityBits: 4},
		{Input: "shunt_code", FirstIndex: 3, ScanCount: 1, QualityBits: 8 | 64},
	}
	frame.Columns[0].Codes[4] = 32767
	frame.Columns[1].Values[5], frame.Columns[1].Values[6], frame.Columns[1].Values[7] = math.NaN(), math.Inf(-1), 1001
	frame.PeriodNanos, frame.OffsetNanos = 0, []int64{0, 1e6, 2e6, 3e6, 4e6, 5e6, 6e6, 7e6, 6.5e6, 7e6}
	answer, err := f.Exchange(frame)
	if err != nil {
		t.Fatal(err)
	}
	for channel, want := range map[string]string{
		"shunt": "[0 1 0 72 4 0 0 0 32 16]",
		"meter": "[0 1 4 4 0 2 2 8 32 16]",
	} {
		var got []uint32
		for _, frame := range answer.GetFrames() {
			if frame.GetChannel() == channel {
				got = append(got, frame.GetQualityBits()...)
			}
		}
		if fmt.Sprint(got) != want {
			t.Errorf("%s: flags %v, want %s", channel, got, want)
		}
	}
	if a := answer.GetCharges()[0].GetAccount(); a.GetReadingCount() != 5 || a.GetUnusable().GetOutOfRangeCount() != 1 || a.GetUnusable().GetTimeBackwardsCount() != 1 {
		t.Errorf("the shunt's account: %v", a)
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
}

// TestAClockSetBackBeginsAnotherTimeBase sets a rig's clock back within a session: a hundred scans are flagged, then the time counts again.
func TestAClockSetBackBeginsAnotherTimeBase(t *testing.T) {
	c, _ := load(t, fed("lockstep", ""))
	s := serve(t, c)
	f, rig := feedOf(t, s, "alpha"), &bench{}
	var last *ampledgerv1.FeedAcknowledgement
	for i := range 4 {
		frame := rig.frame(100)
		if i > 0 {
			frame.FirstMonotonicNanos -= 50e6
		}
		var err error
		if last, err = f.Exchange(frame); err != nil {
			t.Fatal(err)
		}
	}
	if a := last.GetCharges()[0].GetAccount(); a.GetUnusable().GetTimeBackwardsCount() != 49 || a.GetUnusable().GetTimeRepeatedCount() != 1 || a.GetReadingCount() != 350 {
		t.Errorf("set back by 50 ms of 1 ms each: %v", a)
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
}

// TestOneRigADevice refuses a second rig by the name of the first, which goes on; when the first has left, the second may come, with a time base of its own.
func TestOneRigADevice(t *testing.T) {
	c, _ := load(t, fed("live", ""))
	s := serve(t, c)
	first, rig := feedOf(t, s, "alpha"), &bench{first: 40}
	exchange := func(f *client.Feeder, frame *ampledgerv1.FeedFrame) uint64 {
		t.Helper()
		answer, err := f.Exchange(frame)
		if err != nil {
			t.Fatal(err)
		}
		return answer.GetFirstDeviceSequence()
	}
	exchange(first, rig.frame(100))
	_, err := s.Feed(s.ctx, &ampledgerv1.FeedHello{Device: "bench", Rig: "beta"})
	refusal{codes.Aborted, "DEVICE_TAKEN", "", `rig "alpha" feeds device "bench"`}.check(t, err)
	if at := exchange(first, rig.frame(100)); at != 100 {
		t.Errorf("the first one's second frame is at %d", at)
	}
	if err := first.Close(); err != nil {
		t.Error(err)
	}
	second := feedOf(t, s, "beta")
	if second.Welcome().GetResumed() {
		t.Error("another rig goes on with a session it has not")
	}
	if at := exchange(second, (&bench{first: 9}).frame(100)); at != 200 {
		t.Errorf("the second one's first frame is at %d", at)
	}
	if err := second.Close(); err != nil {
		t.Error(err)
	}
	if a := statementOf(t, s); a.GetReadingCount() != 300 || a.GetUnusable().GetLostCount() != 0 || a.GetLongestGaps()[0].GetCauses()[0] != "restart" {
		t.Errorf("two rigs one after the other: %v", a)
	}
}

// TestNoTimePassesInLockstep lets two rigs fall silent until the one that is live is stale: the one in lockstep is not.
func TestNoTimePassesInLockstep(t *testing.T) {
	text := strings.Replace(fed("lockstep", `
  - name: other
    channels: [{name: a, device: clock, input: a, reported: {rated_amperes: 10}}]
`), "conductors:", "  - {name: clock, driver: feed, stale_seconds: 0.3, with: {inputs: [{name: a, unit: A}]}}\nconductors:", 1)
	c, _ := load(t, strings.Replace(text, "driver: feed\n", "driver: feed\n    stale_seconds: 0.3\n", 1))
	s := serve(t, c)
	f := feedOf(t, s, "alpha")
	clock, err := s.Feed(s.ctx, &ampledgerv1.FeedHello{Device: "clock", Rig: "beta"})
	if err != nil {
		t.Fatal(err)
	}
	rig := &bench{}
	frames := map[*client.Feeder]*ampledgerv1.FeedFrame{
		f: rig.frame(10), clock: {ScanCount: 1, PeriodNanos: 1, Columns: []*ampledgerv1.FeedColumn{{Values: []float64{1}}}},
	}
	for to, frame := range frames {
		if _, err := to.Exchange(frame); err != nil {
			t.Fatal(err)
		}
	}
	from := uint64(0)
	err = s.FollowEvents(s.ctx, &ampledgerv1.StreamEventsRequest{AfterLogSequence: &from}, func(item *ampledgerv1.StreamEventsResponse) error {
		e := item.GetEvent()
		if e.GetKind() == "staleness" && e.GetConductor() == "pack" {
			t.Errorf("time passed in lockstep: %v", e)
		}
		if e.GetKind() == "staleness" && e.GetConductor() == "other" {
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) {
		t.Error(err)
	}
	answer, err := f.Exchange(rig.frame(10))
	if err != nil || len(answer.GetEvents()) > 0 {
		t.Errorf("after the silence: %v, %v", answer.GetEvents(), err)
	}
}

// TestLockstepNeedsItsEstimator kills the estimator in lockstep: the rig is told, since what followed would depend on when it died.
func TestLockstepNeedsItsEstimator(t *testing.T) {
	c, _ := load(t, estimated("lockstep"))
	s := serve(t, c)
	f, rig := feedOf(t, s, "alpha"), &bench{}
	if _, err := f.Exchange(rig.frame(5000)); err != nil {
		t.Fatal(err)
	}
	list, err := s.Estimators.ListEstimators(s.ctx, &ampledgerv1.ListEstimatorsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(int(list.GetEstimators()[0].GetProcessId()), syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	for err == nil {
		_, err = f.Exchange(rig.frame(1000))
	}
	refusal{codes.FailedPrecondition, "ESTIMATOR_FAILED", "", "biasfilter"}.check(t, err)
	_, err = s.Feed(s.ctx, &ampledgerv1.FeedHello{Device: "bench", Rig: "alpha", Session: "again"})
	refusal{codes.FailedPrecondition, "ESTIMATOR_FAILED", "", "biasfilter"}.check(t, err)
}

// TestLockstepNeedsTheWholeConductor refuses a conductor that a rig in lockstep shares with another device, and a rig where no time passes by itself.
func TestLockstepNeedsTheWholeConductor(t *testing.T) {
	c, _ := load(t, fed("lockstep", ""))
	c.Devices = append(c.Devices, c.Devices[0])
	c.Devices[1].Name = "other"
	c.Conductors[0].Channels[1].Device = "other"
	text := "conductor pack: device bench feeds it in lockstep, so nothing of it may come from another; channel meter is read by other"
	if err := daemon.Run(t.Context(), c, options(t)); err == nil || !strings.Contains(err.Error(), text) {
		t.Errorf("it ended with %v", err)
	}
	described := daemon.Describe(t.Context(), c, options(t))
	if err := described[0].Err; err == nil || !strings.Contains(err.Error(), text) || len(described[0].Description.GetInputs()) != 3 {
		t.Errorf("described as %+v", described[0])
	}
	c, _ = load(t, fed("lockstep", ""))
	if _, err := daemon.Process(t.Context(), c, options(t), daemon.Outputs{}); err == nil || !strings.Contains(err.Error(), "device bench: its source has no end") {
		t.Errorf("offline it ended with %v", err)
	}
}
