package drivertest

import (
	"cmp"
	"context"
	"errors"
	"os"
	"os/exec"
	"strings"
	"testing"

	"go.uber.org/goleak"

	"github.com/ampledger/ampledger/plugins/plugin"
	"github.com/ampledger/ampledger/plugins/plugintest"
)

// The test's own executable is also the drivers that are checked: with the name of a character as its argument.
func TestMain(m *testing.M) {
	if len(os.Args) == 2 && characters[os.Args[1]] != nil {
		plugin.ServeDriver(characters[os.Args[1]])
		return
	}
	goleak.VerifyTestMain(m)
}

var characters = map[string]*counting{
	"sound":             {},
	"going back":        {first: func(k int) int { return 10 - k }},
	"never twice alike": {first: func(k int) int { return os.Getpid() + 2*k }},
	"describes nothing": {harm: func(d *plugin.Description) { d.Inputs = nil }},
	"takes any setting": {anySetting: true},
	"fails":             {fault: errors.New("the bus is gone")},
}

// counting gives three frames that count their scans. Its faults are the test's to set.
type counting struct {
	first      func(frame int) int
	harm       func(*plugin.Description)
	anySetting bool
	fault      error
}

func (c *counting) Configure(_ context.Context, _ string, settings plugin.Settings) (*plugin.Description, error) {
	d := &plugin.Description{Finite: true, NominalRateHertz: 10, Inputs: []*plugin.Input{{Name: "count", Unit: "1"}}}
	if c.harm != nil {
		c.harm(d)
	}
	if c.anySetting {
		return d, nil
	}
	return d, settings.Decode(&struct {
		Speed float64 `json:"speed"`
	}{})
}

func (c *counting) Stream(_ context.Context, emit func(*plugin.Frame) error) error {
	for k := range 3 {
		first := 2 * k
		if c.first != nil {
			first = c.first(k)
		}
		f := &plugin.Frame{FirstSequence: uint64(first), ScanCount: 2, PeriodNanos: 1e8, Columns: []*plugin.Column{{Values: []float64{float64(first), float64(first + 1)}}}}
		if err := emit(f); err != nil {
			return err
		}
	}
	return c.fault
}

// characterVariable names the environment variable with the character that TestCommand checks.
const characterVariable = "AMPLEDGER_DRIVERTEST_CHARACTER"

func TestCommand(t *testing.T) {
	name := cmp.Or(os.Getenv(characterVariable), "sound")
	RunCommand(t, plugintest.Executable{Path: os.Args[0], Arguments: []string{name}, Environment: []string{"GORACE=atexit_sleep_ms=0"}}, map[string]any{"speed": 0})
}

// The suite must fail for a driver that is not sound: it is run in a process of its own, since its failures would be this test's.
func TestSuiteFindsFaultsOfACommand(t *testing.T) {
	for _, c := range []struct{ name, check, want string }{
		{"going back", "gives_sound_frames", "frame 1: sequence 9 comes after 11"},
		{"never twice alike", "gives_the_same_again", "a frame differs from the one before"},
		{"describes nothing", "describes_its_inputs", "the device has no inputs"},
		{"takes any setting", "refuses_an_unknown_setting_by_its_name", "want an error that names no_such_setting"},
		{"fails", "gives_sound_frames", "the bus is gone"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestCommand$/^"+c.check+"$")
			cmd.Env = append(os.Environ(), characterVariable+"="+c.name)
			said, err := cmd.CombinedOutput()
			var exit *exec.ExitError
			if !errors.As(err, &exit) || exit.ExitCode() != 1 || !strings.Contains(string(said), "--- FAIL: TestCommand/"+c.check) || !strings.Contains(string(said), c.want) {
				t.Errorf("ended with %v, want a failure of %s that says %q:\n%s", err, c.check, c.want, said)
			}
		})
	}
}
