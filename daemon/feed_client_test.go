package daemon_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/daemon/config"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// rigVariable names the environment variable with the socket of the daemon that a child process feeds.
const rigVariable = "AMPLEDGER_DAEMON_TEST_RIG"

// feedChild is a rig as a process of its own, until it is killed. It says how far it has come.
func feedChild(socket string) int {
	c, err := client.Dial(socket)
	if err == nil {
		var f *client.Feeder
		if f, err = c.Feed(context.Background(), &ampledgerv1.FeedHello{Device: "bench", Rig: "alpha", Session: "one"}); err == nil {
			rig := &bench{first: f.Welcome().GetNextSequence()}
			for err == nil {
				if _, err = f.Exchange(rig.frame(10)); err == nil {
					fmt.Println(rig.first)
				}
			}
		}
	}
	fmt.Println(err)
	return 1
}

// waitForEvent waits for a change of an event about a device.
func waitForEvent(t *testing.T, s *served, device string, state ampledgerv1.EventState, text string) {
	t.Helper()
	from := uint64(0)
	err := s.FollowEvents(s.ctx, &ampledgerv1.StreamEventsRequest{AfterLogSequence: &from}, func(item *ampledgerv1.StreamEventsResponse) error {
		if e := item.GetEvent(); e.GetKind() == "device" && e.GetElement() == device && e.GetState() == state && strings.Contains(e.GetDetail(), text) {
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) {
		t.Errorf("no event %v of device %s that says %q: %v", state, device, text, err)
	}
}

// rigSide is a connection that outlives the daemon.
func rigSide(t *testing.T, c *config.Config) *client.Client {
	t.Helper()
	side, err := client.Dial(c.Listen.Unix)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := side.Close(); err != nil {
			t.Error(err)
		}
	})
	return side
}

// TestARigOutlivesTheDaemon starts the daemon anew on its state while a rig goes on: what was answered is counted once, the time between is a gap.
func TestARigOutlivesTheDaemon(t *testing.T) {
	c, _ := load(t, fed("live", ""))
	s := serve(t, c)
	f, err := rigSide(t, c).Feed(t.Context(), &ampledgerv1.FeedHello{Device: "bench", Rig: "alpha"})
	if err != nil {
		t.Fatal(err)
	}
	rig := &bench{}
	exchange := func() {
		t.Helper()
		if _, err := f.Exchange(rig.frame(100)); err != nil {
			t.Fatal(err)
		}
	}
	exchange()
	s.stop()
	s = serve(t, c)
	if f.Welcome().GetResumed() {
		t.Error("a rig that begins is resumed")
	}
	exchange()
	exchange()
	if f.Welcome().GetResumed() || f.Unsure() != 0 {
		t.Errorf("the daemon that was started anew says %v; %d scans are unsure", f.Welcome(), f.Unsure())
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
	a := statementOf(t, s)
	if a.GetReadingCount() != rig.first || a.GetUnusable().GetLostCount() != 0 || a.GetGaps().GetGapCount() != 1 || a.GetLongestGaps()[0].GetCauses()[0] != "restart" {
		t.Errorf("%d readings of %d scans over two runs: %v", a.GetReadingCount(), rig.first, a)
	}
}

// serveKillable is the daemon as a process of its own.
func serveKillable(t *testing.T, file string) *exec.Cmd {
	t.Helper()
	child := exec.CommandContext(t.Context(), os.Args[0])
	child.Env = append(os.Environ(), childVariable+"="+file)
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	if line, err := bufio.NewReader(out).ReadString('\n'); line != "ready\n" {
		t.Fatalf("the daemon says %q (%v)", line, err)
	}
	return child
}

// TestAKilledRigComesBack kills a rig's process in the midst of it: the daemon says so, and the rig that comes back goes on where it was.
func TestAKilledRigComesBack(t *testing.T) {
	c, _ := load(t, fed("live", ""))
	s := serve(t, c)
	var told uint64
	for range 3 {
		child := exec.CommandContext(s.ctx, os.Args[0])
		child.Env = append(os.Environ(), rigVariable+"="+c.Listen.Unix)
		out, err := child.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		for range 20 {
			lines.Scan()
		}
		if _, err := fmt.Sscan(lines.Text(), &told); err != nil {
			t.Errorf("the rig says %q", lines.Text())
		}
		if err := child.Process.Signal(syscall.SIGKILL); err != nil {
			t.Error(err)
		}
		_ = child.Wait() // it was killed
		waitForEvent(t, s, "bench", ampledgerv1.EventState_EVENT_STATE_RAISED, `the connection of rig "alpha" broke off before its sequence `)
	}
	f, err := s.Feed(s.ctx, &ampledgerv1.FeedHello{Device: "bench", Rig: "alpha", Session: "one"})
	if err != nil {
		t.Fatal(err)
	}
	rig := &bench{first: f.Welcome().GetNextSequence()}
	if !f.Welcome().GetResumed() || rig.first < told {
		t.Errorf("the rig was told that %d had gone through, and is to go on at %d", told, rig.first)
	}
	if _, err := f.Exchange(rig.frame(10)); err != nil {
		t.Fatal(err)
	}
	waitForEvent(t, s, "bench", ampledgerv1.EventState_EVENT_STATE_CLEARED, "broke off")
	if err := f.Close(); err != nil {
		t.Error(err)
	}
	if a := statementOf(t, s); a.GetReadingCount() != rig.first || a.GetGaps().GetGapCount() != 0 {
		t.Errorf("%d readings of %d scans, %v", a.GetReadingCount(), rig.first, a.GetGaps())
	}
	list, err := s.Readings.ListConductors(s.ctx, &ampledgerv1.ListConductorsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if faults := list.GetConductors()[0].GetFaults(); len(faults) == 0 || faults[0] != "device bench: no rig feeds it" {
		t.Errorf("without a rig the faults are %q", faults)
	}
}

// TestTheDaemonStopsWhileARigFeeds ends the daemon while one rig is idle and another one sends as fast as it can: both are told, and all that was answered
// is counted.
func TestTheDaemonStopsWhileARigFeeds(t *testing.T) {
	for _, busy := range []bool{false, true} {
		t.Run(fmt.Sprintf("busy=%v", busy), func(t *testing.T) {
			c, _ := load(t, fed("live", ""))
			s := serve(t, c)
			side := rigSide(t, c)
			away := make(chan error, 1)
			side.Away = func(reason error) {
				select {
				case away <- reason:
				default:
				}
			}
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			f, err := side.Feed(ctx, &ampledgerv1.FeedHello{Device: "bench", Rig: "alpha"})
			if err != nil {
				t.Fatal(err)
			}
			rig := &bench{}
			if _, err := f.Exchange(rig.frame(10)); err != nil {
				t.Fatal(err)
			}
			ended, some := make(chan error, 1), make(chan struct{})
			feed := func() {
				var err error
				for n := 0; err == nil; n++ {
					if err = f.Send(rig.frame(10)); n == 50 {
						close(some)
					}
				}
				ended <- err
			}
			if busy {
				go feed()
				<-some
				s.stop()
			} else {
				s.stop()
				go feed()
			}
			refusal{codes.Unavailable, "STOPPING", "", "stopping"}.check(t, <-away)
			cancel()
			if err := <-ended; status.Code(err) != codes.Canceled {
				t.Errorf("the rig ended with %v", err)
			}
		})
	}
}

// TestARigOutlivesAKilledDaemon kills the daemon while a rig sends ahead, and starts it again: what the rig had on its way may have been counted or not, and is
// not sent twice; all after it is counted once.
func TestARigOutlivesAKilledDaemon(t *testing.T) {
	c, folder := load(t, fed("live", ""))
	file := filepath.Join(folder, "pack.yaml")
	child := serveKillable(t, file)
	side := rigSide(t, c)
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	f, err := side.Feed(ctx, &ampledgerv1.FeedHello{Device: "bench", Rig: "alpha"})
	if err != nil {
		t.Fatal(err)
	}
	rig := &bench{}
	send := func(frames int) {
		t.Helper()
		for range frames {
			if err := f.Send(rig.frame(10)); err != nil {
				t.Fatal(err)
			}
		}
	}
	send(100)
	if err := child.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = child.Wait() // it was killed
	child = serveKillable(t, file)
	killed := rig.first
	send(100)
	if err := f.Close(); err != nil {
		t.Error(err)
	}
	if f.Unsure() > 170 {
		t.Errorf("%d scans are unsure, and the rig was at most 16 frames of 10 ahead", f.Unsure())
	}
	statement, err := side.Charge.GetStatement(ctx, &ampledgerv1.GetStatementRequest{Conductor: "pack"})
	if err != nil {
		t.Fatal(err)
	}
	// The first daemon lived less than the 5 s after which it posts, so what it counted went with it.
	if a := statement.GetAccounts()[0]; a.GetReadingCount()+f.Unsure() < 1000 || a.GetReadingCount() > rig.first-killed || a.GetUnusable().GetLostCount() != 0 {
		t.Errorf("%d readings of the %d scans after the kill; %d scans are unsure: %v", a.GetReadingCount(), rig.first-killed, f.Unsure(), a)
	}
	if err := child.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = child.Wait() // it was killed
}

// breaker stands between a rig and the daemon and breaks their connection.
type breaker struct {
	net.Listener
	mu    sync.Mutex
	conns []net.Conn
	work  sync.WaitGroup
}

// newBreaker listens beside the daemon's socket and passes on what comes.
func newBreaker(t *testing.T, c *config.Config) (b *breaker, path string) {
	t.Helper()
	path = c.Listen.Unix + "b"
	on, err := net.Listen("unix", path)
	if err != nil {
		t.Fatal(err)
	}
	b = &breaker{Listener: on}
	b.work.Go(func() {
		for {
			one, err := on.Accept()
			if err != nil {
				return
			}
			other, err := net.Dial("unix", c.Listen.Unix)
			if err != nil {
				t.Error(err)
				return
			}
			b.pass(one, other)
		}
	})
	t.Cleanup(func() {
		_ = b.Close() // whatever it says, Accept has ended
		b.cut()
		b.work.Wait()
	})
	return b, path
}

// pass copies both ways until either side ends.
func (b *breaker) pass(one, other net.Conn) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.conns = append(b.conns, one, other)
	for from, to := range map[net.Conn]net.Conn{one: other, other: one} {
		b.work.Go(func() {
			_, _ = io.Copy(to, from) // it is to break
			_, _ = from.Close(), to.Close()
		})
	}
}

// cut breaks every connection, at whatever byte it is.
func (b *breaker) cut() {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, conn := range b.conns {
		_ = conn.Close() // it may be closed
	}
	b.conns = nil
}

// TestAFeederGoesOnOverABrokenConnection breaks a rig's connection again and again while it sends ahead: each scan is counted once, and none is lost.
func TestAFeederGoesOnOverABrokenConnection(t *testing.T) {
	c, _ := load(t, fed("live", ""))
	s := serve(t, c)
	b, path := newBreaker(t, c)
	side, err := client.Dial(path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := side.Close(); err != nil {
			t.Error(err)
		}
	}()
	away := 0
	side.Away = func(reason error) {
		if reason != nil {
			away++
		}
	}
	f, err := side.Feed(s.ctx, &ampledgerv1.FeedHello{Device: "bench", Rig: "alpha"})
	if err != nil {
		t.Fatal(err)
	}
	rig := &bench{}
	for n := range 200 {
		if err := f.Send(rig.frame(10)); err != nil {
			t.Fatal(err)
		}
		if n%50 == 10 {
			b.cut()
		}
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
	if a := statementOf(t, s); a.GetReadingCount() != rig.first || a.GetGaps().GetGapCount() != 0 || f.Unsure() != 0 || away == 0 {
		t.Errorf("%d readings of %d scans, %d unsure, %d times away: %v", a.GetReadingCount(), rig.first, f.Unsure(), away, a.GetGaps())
	}
}
