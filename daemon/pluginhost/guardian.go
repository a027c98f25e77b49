package pluginhost

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"

	"go.uber.org/zap"
)

// Guardian is a process that ends what the plugins of a host leave behind when the host's process ends, however that ends: also by
// SIGKILL, after which nothing of its own can. It waits at a pipe that the kernel closes then, and knows the plugins' process groups and
// the mark that all of them inherit. So nothing stays but what both leaves its group and empties its environment (and, where there is no
// /proc, what leaves its group). A guardian that dies is replaced at the next start of a plugin. Safe for concurrent use.
type Guardian struct {
	executable string
	arguments  []string
	log        *zap.Logger
	mark       string

	mu     sync.Mutex
	groups map[int]bool
	pipe   io.WriteCloser
	cmd    *exec.Cmd
	exited chan struct{} // closed when the process was waited for
}

// GuardianName is what the executable is told to become, as kind/name of a plugin is: it must call Guard then.
const GuardianName = "guardian"

// StartGuardian starts executable with arguments and GuardianName. Close ends it.
func StartGuardian(executable string, arguments []string, log *zap.Logger) (*Guardian, error) {
	g := &Guardian{executable: executable, arguments: append(append([]string{}, arguments...), GuardianName), log: log, mark: newMark(), groups: map[int]bool{}}
	return g, g.start()
}

func (g *Guardian) start() error {
	cmd := exec.Command(g.executable, g.arguments...)
	cmd.Env, cmd.Dir = []string{guardedVariable + "=" + g.mark}, "/"
	makeGroup(cmd)
	pipe, err := cmd.StdinPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		return fmt.Errorf("guardian: %w", err)
	}
	exited := make(chan struct{})
	g.pipe, g.cmd, g.exited = pipe, cmd, exited
	go func() {
		defer close(exited)
		_ = cmd.Wait() // how it ended is of no consequence: what it was to do is done, or it is replaced
	}()
	return nil
}

// add makes a process group known. A guardian that is gone is replaced.
func (g *Guardian) add(group int) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.groups[group] = true
	if g.write("+", group) == nil {
		return
	}
	err := g.replace()
	for each := range g.groups {
		if err == nil {
			err = g.write("+", each)
		}
	}
	if err != nil {
		g.log.Error("nobody ends the plugins if this process is killed", zap.Error(err))
	}
}

func (g *Guardian) replace() error {
	g.log.Warn("the guardian of the plugins has ended; another is started")
	g.end()
	return g.start()
}

// remove says that nothing is left of a group.
func (g *Guardian) remove(group int) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.groups, group)
	_ = g.write("-", group) // one that is gone is replaced at the next start
}

func (g *Guardian) write(sign string, group int) error {
	select {
	case <-g.exited:
		return os.ErrProcessDone
	default:
	}
	_, err := fmt.Fprintf(g.pipe, "%s%d\n", sign, group)
	return err
}

// Close ends the guardian, and with it what the plugins may have left. It is called when all plugins were closed.
func (g *Guardian) Close() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.end()
}

func (g *Guardian) end() {
	_ = g.pipe.Close() // closed already = ended
	process := g.cmd.Process
	force := time.AfterFunc(2*guardianGrace, func() { _ = process.Kill() })
	defer force.Stop()
	<-g.exited
}

const (
	// guardedVariable tells a guardian the mark of those it guards.
	guardedVariable = "AMPLEDGER_GUARDED"
	// guardianGrace is how long plugins may take to end by themselves: their standard input has ended too, and they have things to put in order.
	guardianGrace = time.Second
)

// Guard is the guardian's main function: it returns when the process that started it has ended and nothing is left of its plugins.
func Guard() {
	signal.Ignore(os.Interrupt, syscall.SIGTERM, syscall.SIGHUP) // it ends when the daemon has, not when both are asked to
	groups := map[int]bool{}
	for lines := bufio.NewScanner(os.Stdin); lines.Scan(); {
		var group int
		if _, err := fmt.Sscanf(strings.TrimLeft(lines.Text(), "+-"), "%d", &group); err == nil {
			groups[group] = strings.HasPrefix(lines.Text(), "+")
		}
	}
	mark := guardianMark + os.Getenv(guardedVariable)
	for deadline := time.Now().Add(guardianGrace); len(marked(mark)) > 0 && time.Now().Before(deadline); {
		time.Sleep(guardianGrace / 50)
	}
	for group, there := range groups {
		if there {
			if leader, err := os.FindProcess(group); err == nil {
				killGroup(leader)
			}
		}
	}
	killMarked(mark)
}
