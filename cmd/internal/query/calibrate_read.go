package query

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/plugins/driver/replay/table"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// currentUnits are the units a current may be written in, in amperes; the longer names first.
var currentUnits = []struct {
	name    string
	amperes float64
}{{"mA", 1e-3}, {"kA", 1e3}, {"A", 1}}

// parseReference reads a current with its standard uncertainty, such as 100.02A±0.02, in the current's unit unless it has one of its own.
func parseReference(text string) (amperes, uncertainty float64, err error) {
	wrong := fmt.Errorf("%q is no current with its standard uncertainty, such as 100.02A±0.02", text)
	value, u, found := strings.Cut(strings.ReplaceAll(text, "+-", "±"), "±")
	if !found {
		return 0, 0, fmt.Errorf("%w: the uncertainty is missing, and nothing is known without error", wrong)
	}
	number, unit, has := cutUnit(value)
	if !has {
		return 0, 0, wrong
	}
	own, scale, has := cutUnit(u)
	if !has {
		own, scale = u, unit
	}
	amperes, ok := finiteNumber(number)
	uncertainty, also := finiteNumber(own)
	if !ok || !also {
		return 0, 0, wrong
	}
	if amperes, uncertainty = amperes*unit, uncertainty*scale; !(uncertainty > 0) || math.IsInf(uncertainty, 0) || math.IsInf(amperes, 0) {
		return 0, 0, fmt.Errorf("%w: the uncertainty must be above 0", wrong)
	}
	return amperes, uncertainty, nil
}

func cutUnit(text string) (number string, amperes float64, has bool) {
	for _, unit := range currentUnits {
		if number, has := strings.CutSuffix(strings.TrimSpace(text), unit.name); has {
			return number, unit.amperes, true
		}
	}
	return text, 0, false
}

func finiteNumber(text string) (float64, bool) {
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	return v, err == nil && v-v == 0
}

// mostPoints is how many points a file may have.
const mostPoints = 10_000

// pointColumns are the columns of a table of points; the first three must be there.
var pointColumns = []string{"reference_amperes", "reference_uncertainty_amperes", "indicated_amperes", "indicated_uncertainty_amperes", "sweep"}

// readPoints reads a table of points.
func readPoints(name string) (points []*ampledgerv1.AddCalibrationPointRequest, err error) {
	file, err := table.Open(name)
	if err != nil {
		return nil, cli.Usagef("--points: %w", err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	points, err = pointsOf(file.Reader, name)
	if err != nil {
		return nil, fmt.Errorf("--points: %w", err)
	}
	return points, nil
}

func pointsOf(from *table.Reader, name string) (points []*ampledgerv1.AddCalibrationPointRequest, err error) {
	at := make([]int, len(pointColumns))
	for i, column := range pointColumns {
		if at[i] = slices.Index(from.Header(), column); at[i] < 0 && i < 3 {
			return nil, fmt.Errorf("%s has no column %s; it has %s", name, column, strings.Join(from.Header(), ", "))
		}
	}
	for {
		cells, err := from.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		if len(points) == mostPoints {
			return nil, from.Fault(-1, fmt.Errorf("these are more than %d points", mostPoints))
		}
		point, err := pointOf(from, cells, at)
		if err != nil {
			return nil, err
		}
		points = append(points, point)
	}
	if len(points) == 0 {
		return nil, fmt.Errorf("%s has no points", name)
	}
	return points, nil
}

// pointOf reads a row; at are the places of pointColumns.
func pointOf(from *table.Reader, cells [][]byte, at []int) (*ampledgerv1.AddCalibrationPointRequest, error) {
	var v [4]float64
	for i := range v {
		if at[i] < 0 || i == 3 && len(cells[at[i]]) == 0 {
			continue
		}
		number, err := table.ParseNumber(cells[at[i]])
		switch {
		case err != nil:
			return nil, from.Fault(at[i], err)
		case number-number != 0:
			return nil, from.Fault(at[i], fmt.Errorf("%s is no finite number", cells[at[i]]))
		case i == 1 && number <= 0:
			return nil, from.Fault(at[i], errors.New("the reference's uncertainty must be above 0: nothing is known without error"))
		case i == 3 && number < 0:
			return nil, from.Fault(at[i], errors.New("an uncertainty cannot be negative"))
		}
		v[i] = number
	}
	point := &ampledgerv1.AddCalibrationPointRequest{
		ReferenceAmperes: &v[0], ReferenceUncertaintyAmperes: v[1], IndicatedAmperes: &v[2], IndicatedUncertaintyAmperes: v[3],
	}
	if at[4] >= 0 {
		sweep, known := sweeps[string(cells[at[4]])]
		if !known {
			return nil, from.Fault(at[4], fmt.Errorf("%q is none of up, down", cells[at[4]]))
		}
		point.Sweep = sweep
	}
	return point, nil
}
