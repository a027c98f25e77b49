// Package clitest runs scripts of commands and compares what they print with what the script says.
//
// A script is a text file:
//
//	# a comment
//	$ command arg 'arg with spaces'
//	what the command writes to standard output
//	! what it writes to standard error, line by line
//	= 2                                   its exit status, if it is not 0
//
// followed, if it needs files, by sections headed `-- name --`, each a file in the folder the commands run in. `cat NAME` shows a file,
// `same A B` tells whether two are equal to the last byte. What stands for $REPO is the repository's folder. With -update the expected
// output is rewritten; read the diff.
package clitest

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"go.uber.org/goleak"

	"github.com/ampledger/ampledger/cmd/internal/cli"
)

var update = flag.Bool("update", false, "rewrite the expected output of scripts")

// commandWithin bounds one command.
const commandWithin = time.Minute

// Main runs a package's tests with a binary that becomes a shipped plugin where the program's executable would, and looks for goroutines
// that were left running.
func Main(m *testing.M, root func() *cobra.Command) {
	if len(os.Args) == 3 && os.Args[1] == "plugin" {
		os.Exit(cli.Main(root(), os.Args[1:], os.Stdout, os.Stderr))
	}
	goleak.VerifyTestMain(m)
}

// Run runs each script in testdata/scripts of the test's package; repo is the way to the repository's folder from there.
func Run(t *testing.T, root func() *cobra.Command, repo string) {
	files, err := filepath.Glob("testdata/scripts/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no scripts: %v", err)
	}
	absolute, err := filepath.Abs(repo)
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		path, err := filepath.Abs(file)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			commands, files := split(string(text))
			s := &script{root: root, replace: strings.NewReplacer("$REPO", absolute), restore: strings.NewReplacer(absolute, "$REPO")}
			got := s.run(t, commands, files) + files
			if got == string(text) {
				return
			}
			if *update {
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			t.Errorf("%s: output differs; -update rewrites it. Now:\n%s", file, got)
		})
	}
}

// split parts the commands from the files.
func split(text string) (commands, files string) {
	if i := strings.Index(text, "\n-- "); i >= 0 {
		return text[:i+1], text[i+1:]
	}
	return text, ""
}

type script struct {
	root             func() *cobra.Command
	replace, restore *strings.Replacer
}

// run gives the script with the output its commands have now.
func (s *script) run(t *testing.T, commands, files string) string {
	t.Helper()
	t.Chdir(t.TempDir())
	s.writeFiles(t, files)
	var out strings.Builder
	for line := range strings.Lines(commands) {
		switch {
		case strings.HasPrefix(line, "#"), line == "\n" && !strings.HasSuffix(out.String(), "\n\n"):
			out.WriteString(line)
		case strings.HasPrefix(line, "$ "):
			out.WriteString(line)
			out.WriteString(s.command(t, strings.TrimSpace(line[2:])))
		}
	}
	return out.String()
}

func (s *script) writeFiles(t *testing.T, files string) {
	t.Helper()
	for section := range strings.SplitSeq("\n"+files, "\n-- ") {
		name, body, found := strings.Cut(section, " --\n")
		if !found {
			continue
		}
		if err := os.WriteFile(name, []byte(s.replace.Replace(body)+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// progress is a line of how far work has come: it depends on how busy the machine is.
var progress = regexp.MustCompile("(\r[^\r\n]*\x1b\\[K)+\n?")

// command runs one line and gives its output in the form of the script.
func (s *script) command(t *testing.T, line string) string {
	t.Helper()
	args := words(s.replace.Replace(line))
	switch args[0] {
	case "cat":
		text, err := os.ReadFile(args[1])
		return s.restore.Replace(string(text)) + lines("! ", errorText(err))
	case "same":
		a, _ := os.ReadFile(args[1])
		b, _ := os.ReadFile(args[2])
		return fmt.Sprintf("same: %v, %d bytes\n", len(a) > 0 && bytes.Equal(a, b), len(a))
	}
	ctx, cancel := context.WithTimeout(t.Context(), commandWithin)
	defer cancel()
	var stdout, stderr bytes.Buffer
	status := cli.Run(ctx, s.root(), args[1:], &stdout, &stderr)
	text := s.restore.Replace(stdout.String()) + lines("! ", s.restore.Replace(progress.ReplaceAllString(stderr.String(), "")))
	if status != 0 {
		text += fmt.Sprintf("= %d\n", status)
	}
	return text
}

func errorText(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

// lines puts a mark before each line.
func lines(mark, text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		b.WriteString(mark + strings.TrimSuffix(line, "\n") + "\n")
	}
	return b.String()
}

// words parts a line at spaces; single quotes keep some together.
func words(line string) (args []string) {
	for i, part := range strings.Split(line, "'") {
		if i%2 == 1 {
			args = append(args, part)
			continue
		}
		args = append(args, strings.Fields(part)...)
	}
	return args
}
