package query

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/daemon/metrology/stability"
	"github.com/ampledger/ampledger/plugins/driver/replay/table"
)

const (
	mostReadings = 20_000_000
	pulseRows    = 4096 // rows between two looks at the clock and the context
)

// zeroLog is a log as it was read, and what of the file did not get into it.
type zeroLog struct {
	stability.Log
	name, column string
	missing      int // rows without a current, or without a temperature where there is a column
}

// columns are places in a row; temperature is -1 if there is none.
type columns struct{ time, current, temperature int }

func readLog(ctx context.Context, name string, flags stabilityFlags, progress *cli.Progress) (log *zeroLog, err error) {
	file, err := table.Open(name)
	if err != nil {
		return nil, cli.Usagef("%w", err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	at, err := findColumns(name, file.Header(), flags)
	if err != nil {
		return nil, err
	}
	log = &zeroLog{name: name, column: file.Header()[at.current]}
	for row := 1; ; row++ {
		cells, err := file.Next()
		if errors.Is(err, io.EOF) {
			return log, log.enough(flags)
		}
		if err == nil {
			err = log.add(file.Reader, cells, at, flags)
		}
		if err == nil && row%pulseRows == 0 {
			err = ctx.Err()
			progress.Update(func() string { return fmt.Sprintf("%d readings", len(log.Nanos)) })
		}
		if err != nil {
			return nil, err
		}
	}
}

// enough refuses a log of which nothing can be said.
func (l *zeroLog) enough(flags stabilityFlags) error {
	if len(l.Nanos) >= stability.FewestReadings {
		return nil
	}
	where := ""
	if !math.IsInf(flags.from, 0) || !math.IsInf(flags.to, 0) {
		where = " between --from and --to"
	}
	return fmt.Errorf("%s: %d readings of %q%s, at least %d are needed", l.name, len(l.Nanos), l.column, where, stability.FewestReadings)
}

// add takes a row.
func (l *zeroLog) add(from *table.Reader, cells [][]byte, at columns, flags stabilityFlags) error {
	nanos, err := table.ParseSeconds(cells[at.time])
	if err != nil {
		return from.Fault(at.time, err)
	}
	if s := float64(nanos) * 1e-9; s < flags.from || s > flags.to {
		return nil
	}
	amperes, err := optional(from, cells, at.current)
	if err != nil {
		return err
	}
	celsius, err := optional(from, cells, at.temperature)
	if err != nil {
		return err
	}
	if math.IsNaN(amperes) || math.IsNaN(celsius) {
		l.missing++
		return nil
	}
	if amperes *= flags.scale; math.Abs(amperes) > stability.MostAmperes {
		return from.Fault(at.current, fmt.Errorf("%g A is no current of a battery; check --column and --scale", amperes))
	}
	if n := len(l.Nanos); n > 0 && nanos <= l.Nanos[n-1] {
		return from.Fault(at.time, fmt.Errorf("%s s is not later than the reading before it; sort the log by time, or take a part of it with --from and --to", cells[at.time]))
	}
	if len(l.Nanos) == mostReadings {
		return from.Fault(-1, fmt.Errorf("this is more than %d readings; take a part of the log with --from and --to", mostReadings))
	}
	l.Nanos, l.Amperes = append(l.Nanos, nanos), append(l.Amperes, amperes)
	if at.temperature >= 0 {
		l.Celsius = append(l.Celsius, celsius)
	}
	return nil
}

// optional reads a number; NaN = the cell is empty or says so. A column that is not there is 0.
func optional(from *table.Reader, cells [][]byte, column int) (float64, error) {
	if column < 0 {
		return 0, nil
	}
	if len(cells[column]) == 0 {
		return math.NaN(), nil
	}
	v, err := table.ParseNumber(cells[column])
	if err != nil {
		return 0, from.Fault(column, err)
	}
	if math.IsInf(v, 0) {
		return math.NaN(), nil
	}
	return v, nil
}

// findColumns finds the columns that were named, or those that are named as such columns are.
func findColumns(file string, header []string, flags stabilityFlags) (at columns, err error) {
	for _, each := range []struct {
		to         *int
		flag, name string
		like       func(string) bool
	}{
		{&at.time, "time-column", flags.timeColumn, likeTime},
		{&at.current, "column", flags.column, likeCurrent},
		{&at.temperature, "temperature-column", flags.temperatureColumn, nil},
	} {
		switch {
		case each.name != "":
			*each.to = slices.Index(header, each.name)
		case each.like != nil:
			*each.to = slices.IndexFunc(header, each.like)
		default:
			*each.to = -1
			continue
		}
		if *each.to >= 0 {
			continue
		}
		if each.name != "" {
			return at, cli.Usagef("--%s: %s has no column %q; it has %s", each.flag, file, each.name, strings.Join(header, ", "))
		}
		return at, cli.Usagef("%s: no column is named as this one would be, name it with --%s; there are %s", file, each.flag, strings.Join(header, ", "))
	}
	if at.time == at.current || at.temperature == at.time || at.temperature == at.current {
		return at, cli.Usagef("%s: column %q is asked for twice", file, header[max(at.temperature, min(at.time, at.current))])
	}
	return at, nil
}

func likeTime(name string) bool {
	name = strings.ToLower(name)
	return strings.Contains(name, "time") || strings.Contains(name, "second") || name == "t" || name == "s" || name == "t_s"
}

func likeCurrent(name string) bool {
	lower := strings.ToLower(name)
	return !likeTime(name) && (strings.Contains(lower, "current") || strings.Contains(lower, "ampere") || strings.HasSuffix(lower, "_a") ||
		strings.HasSuffix(name, "(A)") || name == "A" || name == "I")
}
