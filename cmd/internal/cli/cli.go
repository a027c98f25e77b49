// Package cli is what the commands have in common: how they end, how they say what went wrong, how they show progress.
//
// Exit status: 0 = done, 1 = failed, 2 = used wrongly (arguments, or a configuration with faults).
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/daemon/config"
)

// Usage is an error of whoever called the command.
type Usage struct{ error }

// Usagef makes a Usage.
func Usagef(format string, values ...any) error { return Usage{fmt.Errorf(format, values...)} }

// Main runs a command until it is done or interrupted and gives its exit status.
func Main(root *cobra.Command, args []string, stdout, stderr io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	return Run(ctx, root, args, stdout, stderr)
}

// Run is Main without the signals.
func Run(ctx context.Context, root *cobra.Command, args []string, stdout, stderr io.Writer) int {
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	root.SilenceErrors, root.SilenceUsage = true, true
	root.CompletionOptions.DisableDefaultCmd = true
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return Usagef("%w; see %s --help", err, c.CommandPath())
	})
	err := root.ExecuteContext(ctx)
	if err == nil {
		return 0
	}
	fmt.Fprintf(stderr, "%s: %s\n", root.Name(), explain(err))
	return exitStatus(err)
}

func exitStatus(err error) int {
	var usage Usage
	var faults config.Faults
	if errors.As(err, &usage) || errors.As(err, &faults) || strings.HasPrefix(err.Error(), "unknown command") {
		return 2
	}
	return 1
}

// explain says what a daemon's answer means for a person.
func explain(err error) string {
	s, is := status.FromError(err)
	switch {
	case !is:
		return err.Error()
	case s.Code() == codes.Unavailable:
		return "no daemon answers there (" + s.Message() + "); start one with `ampledgerd run CONFIG` and give its socket with --address"
	}
	return s.Message()
}

// Arguments wants exactly so many arguments, named as in the command's use.
func Arguments(n int) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) != n {
			return Usagef("%s takes %d argument(s), %d given: %s", c.CommandPath(), n, len(args), c.UseLine())
		}
		return nil
	}
}

// Group is a command that only holds others.
func Group(c *cobra.Command, under ...*cobra.Command) *cobra.Command {
	c.Args = func(c *cobra.Command, args []string) error {
		if len(args) > 0 {
			return Usagef("%s has no command %q; see %s --help", c.CommandPath(), args[0], c.CommandPath())
		}
		return nil
	}
	c.RunE = func(c *cobra.Command, _ []string) error { return c.Help() }
	c.AddCommand(under...)
	return c
}

// LoadConfig reads a configuration. One that cannot be read was named wrongly, so that too is a Usage.
func LoadConfig(path string) (*config.Config, error) {
	read, err := config.Load(path)
	var faults config.Faults
	if err != nil && !errors.As(err, &faults) {
		return nil, Usage{err}
	}
	return read, err
}
