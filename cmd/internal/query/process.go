package query

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"
	"go.uber.org/zap"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/shipped"
	"github.com/ampledger/ampledger/cmd/internal/show"
	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

type processFlags struct {
	readings, statement, events, estimates string
	json                                   *bool
}

func processCommand() *cobra.Command {
	var flags processFlags
	c := &cobra.Command{
		Use: "process CONFIG", Short: "Take recordings through the same pipeline without a daemon, as fast as possible", Args: cli.Arguments(1),
		Long: "process runs the configuration's devices to their end, offline and in lockstep: the same input gives the same output, byte for\n" +
			"byte. Give the replay devices `speed: 0`. Nothing is stored. A name of - stands for standard output; without any of the\n" +
			"outputs the statement is written there for people. If a device fails midway, what was read before is written all the same.",
	}
	c.Flags().StringVar(&flags.readings, "readings", "", "write every reading to this CSV file")
	c.Flags().StringVar(&flags.statement, "statement", "", "write the statements to this file as JSON")
	c.Flags().StringVar(&flags.events, "events", "", "write the events to this file as JSON")
	c.Flags().StringVar(&flags.estimates, "estimates", "", "write what every estimator says to each summary to this file, a line of JSON each")
	flags.json = c.Flags().Bool("json", false, "write the statements to standard output as JSON")
	c.RunE = func(c *cobra.Command, args []string) error {
		read, err := cli.LoadConfig(args[0])
		if err != nil {
			return err
		}
		return process(c.Context(), c, read, flags)
	}
	return c
}

func process(ctx context.Context, c *cobra.Command, read *config.Config, flags processFlags) (err error) {
	options, err := shipped.Options(zap.NewNop())
	if err != nil {
		return err
	}
	readings, err := openOutput(c, flags.readings)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, readings.close()) }()
	estimates, err := openOutput(c, flags.estimates)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, estimates.close()) }()
	table := newReadingTable(readings)
	progress := cli.NewProgress(c.ErrOrStderr())
	defer progress.Done()
	var count uint64
	var events []*ampledgerv1.Event
	out := daemon.Outputs{
		Readings: func(lane *pipeline.Lane, r *scan.Readings) error {
			count += uint64(r.Len())
			progress.Update(func() string { return fmt.Sprintf("%d readings", count) })
			return table.write(lane, r)
		},
		Event: func(event *ampledgerv1.Event) error {
			events = append(events, event)
			return nil
		},
		Estimate: func(record *ampledgerv1.EstimateRecord) error {
			if estimates.Writer == nil {
				return nil
			}
			record.LatencyNanos = 0 // it is another each time
			return show.JSONLine(estimates, record)
		},
	}
	statements, failure := daemon.Process(ctx, read, options, out)
	return errors.Join(failure, table.flush(), writeResults(c, flags, statements, events))
}

// writeResults writes what was asked for, or the statement for people.
func writeResults(c *cobra.Command, flags processFlags, statements []*ampledgerv1.GetStatementResponse, events []*ampledgerv1.Event) error {
	err := errors.Join(
		writeTo(c, flags.statement, func(to io.Writer) error { return show.JSONList(to, statements) }),
		writeTo(c, flags.events, func(to io.Writer) error { return show.JSONList(to, events) }))
	switch {
	case *flags.json:
		return errors.Join(err, show.JSONList(c.OutOrStdout(), statements))
	case flags.readings == "" && flags.statement == "" && flags.events == "" && flags.estimates == "":
		for _, statement := range statements {
			err = errors.Join(err, show.Statement(c.OutOrStdout(), statement))
		}
		for _, event := range events {
			fmt.Fprintln(c.OutOrStdout(), show.Event(event))
		}
	}
	return err
}

func writeTo(c *cobra.Command, name string, write func(io.Writer) error) error {
	to, err := openOutput(c, name)
	if err != nil || to.Writer == nil {
		return err
	}
	return errors.Join(write(to), to.close())
}

// output is a file, or standard output, or nothing.
type output struct {
	io.Writer
	file *os.File
}

func openOutput(c *cobra.Command, name string) (output, error) {
	switch name {
	case "":
		return output{}, nil
	case "-":
		return output{Writer: c.OutOrStdout()}, nil
	}
	file, err := os.Create(name)
	if err != nil {
		return output{}, err
	}
	return output{file, file}, nil
}

func (o output) close() error {
	if o.file == nil {
		return nil
	}
	return o.file.Close()
}
