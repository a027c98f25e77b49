//go:build unix

package pluginhost_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/scan"
)

// write makes an executable and gives its name and checksum.
func write(t *testing.T, folder, name, text string) (path, sum string) {
	t.Helper()
	path = filepath.Join(folder, name)
	if err := os.WriteFile(path, []byte(text), 0o755); err != nil {
		t.Fatal(err)
	}
	return path, sumOf(t, path)
}

func sumOf(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

func TestExecutableThatIsNoPlugin(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	babbling, babblingSum := write(t, folder, "babbling", "#!/bin/sh\necho rubbish\n")
	endless, endlessSum := write(t, folder, "endless", "#!/bin/sh\necho rubbish\nsleep 1000\n")
	lost, lostSum := write(t, folder, "lost", "#!/opt/nowhere/python\n")
	text, textSum := write(t, folder, "text", "\x00 no executable\n")
	failing, failingSum := write(t, folder, "failing", "#!/bin/sh\necho no licence >&2\nexit 9\n")
	locked, lockedSum := write(t, folder, "locked", "#!/bin/sh\n")
	if err := os.Chmod(locked, 0o644); err != nil {
		t.Fatal(err)
	}
	zeros := strings.Repeat("0", 64)
	for name, c := range map[string]struct {
		path, sum string
		want      string
	}{
		"a script that prints rubbish": {babbling, babblingSum, `driver babbling: is no plugin: it printed "rubbish" where the handshake is due`},
		"one that runs on after it":    {endless, endlessSum, `driver endless: is no plugin: it printed "rubbish" where the handshake is due`},
		"one that fails":               {failing, failingSum, "driver failing: is no plugin: it ended before the handshake (exit status 9): no licence"},
		"a text":                       {text, textSum, "driver text: cannot be started: fork/exec " + text + ": exec format error"},
		"one without interpreter": {lost, lostSum, "driver lost: cannot be started: fork/exec " + lost + ": no such file or directory: " +
			"the interpreter that its first line names, or its loader, is missing"},
		"true":                        {"/bin/true", sumOf(t, "/bin/true"), "driver true: is no plugin: it ended before the handshake (exit status 0)"},
		"a folder":                    {folder, zeros, "driver " + filepath.Base(folder) + ": " + folder + " is not a file"},
		"not executable":              {locked, lockedSum, "driver locked: " + locked + " may not be executed: check its mode"},
		"missing":                     {folder + "/nowhere", zeros, "driver nowhere: stat " + folder + "/nowhere: no such file or directory"},
		"another checksum":            {babbling, textSum, "driver babbling: the executable's SHA-256 is not the one that was given for it; it was not started"},
		"no checksum":                 {babbling, "", `driver babbling: sha256 "" is not 64 hexadecimal digits`},
		"half a checksum":             {babbling, zeros[:32], `driver babbling: sha256 "` + zeros[:32] + `" is not 64 hexadecimal digits`},
		"a checksum of other letters": {babbling, "x" + zeros[1:], `driver babbling: sha256 "x` + zeros[1:] + `" is not 64 hexadecimal digits`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			host, _ := newHost(t)
			_, err := host.StartDriver(t.Context(), pluginhost.Program{Path: c.path, SHA256: c.sum}, "adc0", nil)
			wantError(t, err, c.want)
		})
	}
}

func TestPluginThatDoesNotStart(t *testing.T) {
	t.Parallel()
	const tooLate = ": was not ready within 300ms"
	for name, want := range map[string]string{
		"stranger": `driver stranger: is no plugin: it ended before the handshake (exit status 1): load any plugins automatically`,
		"future":   "driver future: handshake: incompatible API version with plugin. Plugin version: 2, Client versions: [1]",
		"quits":    "driver quits: is no plugin: it ended before the handshake (exit status 3): no such port: /dev/ttyUSB7",
		"babbler":  `driver babbler: is no plugin: it printed "` + strings.Repeat("babble", 17)[:100] + `" where the handshake is due`,
		"silent":   "driver silent" + tooLate,
		"deaf":     "driver deaf" + tooLate,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			host, _ := newHost(t)
			if strings.HasSuffix(want, tooLate) {
				host.Deadlines.Start = 300 * time.Millisecond
			}
			p := shipped(name)
			p.Plaintext = name == "deaf"
			_, err := host.StartDriver(t.Context(), p, "adc0", nil)
			wantError(t, err, want)
		})
	}
}

func TestThirdPartyPluginStarts(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	t.Run("by its absolute path", func(t *testing.T) {
		p := pluginhost.Program{Path: host.Executable, SHA256: strings.ToUpper(sumOf(t, host.Executable)), Arguments: []string{"plugin", "driver/good"}, Environment: []string{"GORACE"}}
		d, err := host.StartDriver(t.Context(), p, "adc0", nil)
		if err != nil {
			t.Fatal(err)
		}
		closed(t, d.Process)
	})
	t.Run("relative to the folder", func(t *testing.T) {
		here, _ := newHost(t)
		here.Folder = filepath.Dir(host.Executable)
		name := filepath.Base(host.Executable)
		d, err := here.StartDriver(t.Context(),
			pluginhost.Program{Path: name, SHA256: sumOf(t, host.Executable), Arguments: []string{"plugin", "driver/good"}, Environment: []string{"GORACE"}}, "adc0", nil)
		if err != nil {
			t.Fatal(err)
		}
		closed(t, d.Process)
	})
}

// What was checked is what is started: a name without a slash is not looked for elsewhere.
func TestExecutableIsNotLookedForElsewhere(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	host.Folder = t.TempDir()
	_, err := host.StartDriver(t.Context(), pluginhost.Program{Path: "true", SHA256: sumOf(t, "/bin/true")}, "adc0", nil)
	wantError(t, err, "driver true: stat "+host.Folder+"/true: no such file or directory")
}

func TestEnvironmentIsEmptyButForWhatIsListed(t *testing.T) {
	host, _ := newHost(t)
	t.Setenv("AMPLEDGER_SHOWN", "yes")
	t.Setenv("AMPLEDGER_HIDDEN", "no")
	path, sum := write(t, t.TempDir(), "shows", "#!/bin/sh\necho $AMPLEDGER_SHOWN,$AMPLEDGER_HIDDEN,$HOME,$TMPDIR,$AMPLEDGER_ABSENT,`pwd`\n")
	host.Folder = "/"
	p := pluginhost.Program{Path: path, SHA256: sum, Environment: []string{"AMPLEDGER_SHOWN", "AMPLEDGER_ABSENT"}}
	_, err := host.StartDriver(t.Context(), p, "adc0", nil)
	wantError(t, err, `driver shows: is no plugin: it printed "yes,,,,,/" where the handshake is due`)
}

// A start whose context ends returns at once, wherever it is, and leaves nothing; main_test.go looks for what is left.
func TestCancelledStart(t *testing.T) {
	t.Parallel()
	cause := errors.New("shutting down")
	ended, cancel := context.WithCancelCause(t.Context())
	cancel(cause)
	for name, c := range map[string]struct {
		driver   string
		settings with
		want     string
	}{
		"before it begins":       {"good", nil, "driver good: shutting down"},
		"before the handshake":   {"silent", nil, "driver silent: context canceled"},
		"before the connection":  {"deaf", nil, "driver deaf: context canceled"},
		"while it is configured": {"liar", with{"configure": "hang"}, "driver liar: context canceled"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			host, written := newHost(t)
			ctx := ended
			if name != "before it begins" {
				ctx = cancelAt(t, "waiting", written)
			}
			began := time.Now()
			p := shipped(c.driver)
			p.Plaintext = c.driver == "deaf"
			_, err := host.StartDriver(ctx, p, "adc0", c.settings)
			wantError(t, err, c.want)
			if took := time.Since(began); took > host.Deadlines.Start/2 {
				t.Errorf("it took %v", took)
			}
		})
	}
}

// A connection that is still being made when the plugin is killed is not left to itself.
func TestConnectionThatIsNotAccepted(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	host.Deadlines.Start = time.Second
	folder := t.TempDir()
	listener, err := net.Listen("unix", filepath.Join(folder, "s")) // of another process: it outlives the plugin
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	path, sum := write(t, folder, "elsewhere", "#!/bin/sh\nln -s $1 $PLUGIN_UNIX_SOCKET_DIR/s\necho \"1|1|unix|$PLUGIN_UNIX_SOCKET_DIR/s|grpc|\"\nexec sleep 1000\n")
	p := pluginhost.Program{Path: path, SHA256: sum, Arguments: []string{listener.Addr().String()}, Plaintext: true}
	began := time.Now()
	_, err = host.StartDriver(t.Context(), p, "adc0", nil)
	wantError(t, err, "driver elsewhere: was not ready within 1s")
	if took := time.Since(began); took > 10*time.Second {
		t.Errorf("it took %v: somebody waited for the connection", took)
	}
}

// At whatever moment the context ends, the start either succeeds or says so.
func TestStartCancelledAtAnyMoment(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	p := shipped("good")
	began := time.Now()
	closed(t, startDriver(t, host, "good", nil).Process)
	whole := time.Since(began)
	for range 20 {
		ctx, cancel := context.WithTimeout(t.Context(), rand.N(whole))
		d, err := host.StartDriver(ctx, p, "adc0", nil)
		switch {
		case err == nil:
			closed(t, d.Process)
		case !errors.Is(err, context.DeadlineExceeded):
			t.Errorf("%v, want a deadline exceeded", err)
		}
		cancel()
	}
}

func TestManyAtOnce(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	for range 6 {
		t.Run("", func(t *testing.T) {
			t.Parallel()
			if err := open(t, startDriver(t, host, "good", nil)).Next(new(scan.Frame)); err != nil {
				t.Error(err)
			}
		})
	}
}
