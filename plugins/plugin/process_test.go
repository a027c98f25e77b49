//go:build unix

package plugin_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/hashicorp/go-hclog"
	goplugin "github.com/hashicorp/go-plugin"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// The test's own executable is also the daemon and the plugin that the tests of whole processes start.
func TestMain(m *testing.M) {
	if len(os.Args) == 3 && os.Args[1] == "be" {
		switch os.Args[2] {
		case "daemon":
			beDaemon()
		case "driver":
			plugin.ServeDriver(idle{})
		case "estimator":
			plugin.ServeEstimator(nil)
		}
		return
	}
	os.Exit(m.Run())
}

// idle is a driver whose device says nothing.
type idle struct{}

func (idle) Configure(context.Context, string, plugin.Settings) (*plugin.Description, error) {
	return &plugin.Description{Inputs: []*plugin.Input{{Name: "a", Unit: "A"}}}, nil
}

func (idle) Stream(ctx context.Context, _ func(*plugin.Frame) error) error {
	<-ctx.Done()
	return nil
}

// held is the daemon's end of its plugin's standard input; open for as long as the daemon lives.
var held *os.File

// beDaemon starts a plugin with the end of a pipe as its standard input, prints its identifier and waits to be killed.
func beDaemon() {
	input, output, err := os.Pipe()
	if err != nil {
		panic(err)
	}
	held = output
	os.Stdin = input // what go-plugin hands on
	client := goplugin.NewClient(&goplugin.ClientConfig{
		HandshakeConfig: plugin.Handshake, VersionedPlugins: plugin.ClientSets(), AutoMTLS: true, SkipHostEnv: true,
		AllowedProtocols: []goplugin.Protocol{goplugin.ProtocolGRPC}, Logger: hclog.NewNullLogger(),
		Cmd: exec.Command(os.Args[0], "be", "driver"),
	})
	if _, err := client.Client(); err != nil {
		panic(err)
	}
	fmt.Println(client.ReattachConfig().Pid, client.ReattachConfig().Addr)
	select {}
}

func TestPluginEndsWhenItsDaemonIsKilled(t *testing.T) {
	daemon := exec.Command(os.Args[0], "be", "daemon")
	output, err := daemon.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	daemon.Stderr = os.Stderr
	if err := daemon.Start(); err != nil {
		t.Fatal(err)
	}
	var pid int
	var socket string
	_, scanning := fmt.Fscan(bufio.NewReader(output), &pid, &socket)
	if err := errors.Join(daemon.Process.Kill(), ignoreExit(daemon.Wait())); err != nil {
		t.Fatal(err)
	}
	if scanning != nil {
		t.Fatal(scanning)
	}
	if !waitUntil(5*time.Second, func() bool { return ended(t, pid) }) {
		t.Errorf("plugin %d runs on without its daemon", pid)
		if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
			t.Error(err)
		}
	}
	os.Remove(socket) // go-plugin's plain client gives it no folder of its own
}

// A plugin's folder for its socket is removed by the plugin itself if the daemon cannot.
func TestOrphanRemovesItsSocket(t *testing.T) {
	folder, err := os.MkdirTemp("", "sockets")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(folder)
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second) // then it is killed
	defer cancel()
	orphan := exec.CommandContext(ctx, os.Args[0], "be", "driver")
	orphan.Env = []string{
		plugin.Handshake.MagicCookieKey + "=" + plugin.Handshake.MagicCookieValue,
		"PLUGIN_PROTOCOL_VERSIONS=1", goplugin.EnvUnixSocketDir + "=" + folder,
	}
	input, err := orphan.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	output, err := orphan.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := orphan.Start(); err != nil {
		t.Fatal(err)
	}
	handshake, err := bufio.NewReader(output).ReadString('\n')
	if err != nil || !strings.HasPrefix(handshake, "1|1|unix|"+filepath.Join(folder, "plugin")) {
		t.Errorf("handshake %q, %v", handshake, err)
	}
	input.Close()
	if err := orphan.Wait(); err == nil || err.Error() != "exit status 1" {
		t.Errorf("ended with %v, want exit status 1", err)
	}
	if _, err := os.Stat(folder); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the folder of its socket is left: %v", err)
	}
}

func TestPluginIsNotStartedByHand(t *testing.T) {
	for _, kind := range []string{"driver", "estimator"} {
		text, err := exec.Command(os.Args[0], "be", kind).CombinedOutput()
		if err == nil || !strings.HasPrefix(string(text), "This binary is a plugin.") {
			t.Errorf("%s started by hand: %v, %q", kind, err, text)
		}
	}
}

func ignoreExit(err error) error {
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return nil
	}
	return err
}

// ended tells whether a process that is not our child has ended; one that nobody waits for has too.
func ended(t *testing.T, pid int) bool {
	t.Helper()
	if err := syscall.Kill(pid, 0); err != nil {
		if !errors.Is(err, syscall.ESRCH) {
			t.Error(err)
		}
		return true
	}
	state, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	return err == nil && strings.Contains(string(state), ") Z ")
}

// waitUntil looks for a condition that tells nobody when it comes true.
func waitUntil(limit time.Duration, condition func() bool) bool {
	ticker := time.NewTicker(10 * time.Millisecond)
	defer ticker.Stop()
	deadline := time.After(limit)
	for !condition() {
		select {
		case <-ticker.C:
		case <-deadline:
			return condition()
		}
	}
	return true
}
