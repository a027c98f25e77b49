//go:build unix

package pluginhost

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.uber.org/zap"
)

// A guardian that was killed is replaced at the next start of a plugin, and its successor is told of all there are.
func TestGuardianIsReplaced(t *testing.T) {
	t.Parallel()
	heard := filepath.Join(t.TempDir(), "heard")
	g, err := StartGuardian("/bin/sh", []string{"-c", "exec cat >" + heard}, zap.NewNop())
	if err != nil {
		t.Fatal(err)
	}
	g.add(5)
	g.add(6)
	g.remove(5)
	if err := g.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	<-g.exited
	g.remove(4) // nobody hears it
	g.add(7)
	g.Close()
	g.Close()
	text, err := os.ReadFile(heard)
	lines := strings.Fields(string(text))
	slices.Sort(lines)
	if want := []string{"+6", "+7"}; err != nil || !slices.Equal(lines, want) {
		t.Errorf("the second one was told %q, want %q (%v)", lines, want, err)
	}
}

func TestGuardianThatCannotStart(t *testing.T) {
	t.Parallel()
	_, err := StartGuardian(filepath.Join(t.TempDir(), "nothing"), nil, zap.NewNop())
	if err == nil || !strings.HasPrefix(err.Error(), "guardian: fork/exec ") {
		t.Errorf("%v", err)
	}
}
