package simulate

import (
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/ampledger/ampledger/plugins/driver/replay/table"
	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
)

// The columns of a file of levels. A level is the stored charge as a fraction of the capacity.
const (
	levelsTime    = "time_s"
	levelsLevel   = "level"
	levelsProfile = "profile"
)

// level is one row of a profile.
type level struct {
	nanos int64
	share float64
}

// levels gives a segment of levels: one stretch for each interval, from the start again as often as its seconds ask for.
func (s *segmentSettings) levels(key string, length int64, r *refusals) []stretch {
	if !(*s.CapacityAmpHours > 0) {
		r.add(key+".capacity_ampere_hours", "%v is not above zero", *s.CapacityAmpHours)
		return nil
	}
	rows, blamed, err := readLevels(*s.LevelsFile, or(s.Profile, ""))
	if err != nil {
		r.add(key+"."+blamed, "%w", err)
		return nil
	}
	once := s.stretches(rows)
	if s.Seconds == nil {
		return once
	}
	var all []stretch
	for i := 0; length > 0; i++ {
		if len(all) == mostPoints {
			r.add(key+".seconds", "the levels would be run through to more than %d intervals, repeat the duty instead", mostPoints)
			return nil
		}
		next := once[i%len(once)]
		next.nanos = min(next.nanos, length)
		all, length = append(all, next), length-next.nanos
	}
	return all
}

// stretches holds, over each interval, the current that leads from its level to the next.
func (s *segmentSettings) stretches(rows []level) (all []stretch) {
	for i, from := range rows[:len(rows)-1] {
		to := rows[i+1]
		charged := *s.CapacityAmpHours * (to.share - from.share)
		open := s.ContactorOpen || or(s.RestUnchanged, false) && charged == 0
		hold := physics.Hold(-charged * 3600e9 / float64(to.nanos-from.nanos))
		all = append(all, stretch{physics.Segment{Shape: hold, ContactorOpen: open, StandingAmperes: s.StandingAmperes}, to.nanos - from.nanos})
	}
	return all
}

// readLevels reads the rows of a profile, or all if it has no name. Of an error it gives the setting that is to blame.
func readLevels(path, profile string) (rows []level, key string, err error) {
	file, err := table.Open(path)
	if err != nil {
		return nil, "levels_file", err
	}
	defer file.Close()
	header := file.Header()
	columns := []string{levelsTime, levelsLevel}
	if profile != "" {
		columns = append(columns, levelsProfile)
	}
	for _, column := range columns {
		if !slices.Contains(header, column) {
			return nil, "levels_file", fmt.Errorf("%s has no column %q, only %q", path, column, header)
		}
	}
	rows, err = readProfile(file.Reader, profile)
	switch {
	case err != nil:
		return nil, "levels_file", err
	case len(rows) == 0 && profile != "":
		return nil, "profile", fmt.Errorf("%s has no profile %q", path, profile)
	case len(rows) < 2:
		return nil, "levels_file", fmt.Errorf("%s: two rows at different times are needed", path)
	}
	return rows, "", nil
}

func readProfile(in *table.Reader, profile string) (rows []level, err error) {
	timeAt, levelAt := slices.Index(in.Header(), levelsTime), slices.Index(in.Header(), levelsLevel)
	profileAt := slices.Index(in.Header(), levelsProfile)
	for {
		cells, err := in.Next()
		switch {
		case errors.Is(err, io.EOF):
			return rows, nil
		case err != nil:
			return nil, err
		case profile != "" && string(cells[profileAt]) != profile:
			continue
		}
		var row level
		if row.nanos, err = table.ParseSeconds(cells[timeAt]); err != nil {
			return nil, in.Fault(timeAt, err)
		}
		if row.share, err = table.ParseNumber(cells[levelAt]); err != nil {
			return nil, in.Fault(levelAt, err)
		}
		if err := follows(rows, row); err != nil {
			return nil, in.Fault(-1, err)
		}
		rows = append(rows, row)
	}
}

// follows says what is wrong with a row after those before.
func follows(rows []level, next level) error {
	switch {
	case next.share-next.share != 0:
		return errors.New("the level is not finite")
	case len(rows) == mostPoints:
		return errTooLong
	case len(rows) > 0 && next.nanos <= rows[len(rows)-1].nanos:
		return errors.New("the time does not rise, levels need it to; if there are several profiles, name one")
	}
	return nil
}
