package replay

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"

	"github.com/ampledger/ampledger/plugins/driver/internal/playback"
	"github.com/ampledger/ampledger/plugins/driver/replay/table"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// settings are those of the package comment.
type settings struct {
	File       string            `json:"file"`
	TimeColumn string            `json:"time_column"`
	Where      map[string]string `json:"where"`
	Inputs     []inputSettings   `json:"inputs"`
	Speed      float64           `json:"speed"`
	FrameScans int               `json:"frame_scans"`
	WallStart  string            `json:"wall_start"`

	FromSeconds  *float64 `json:"from_seconds"`
	ToSeconds    *float64 `json:"to_seconds"`
	StartSeconds *float64 `json:"start_seconds"`
	Loop         bool     `json:"loop"`
}

func defaults() settings { return settings{Speed: 1} }

// plan is what the settings and the recording come to.
type plan struct {
	playback playback.Plan
	path     string
	header   []string
	time     int // column
	where    []condition
	window   window
	inputs   []input
	rate     float64 // Hz; 0 = not known
	loop     bool
	series   *series // files in Parquet; nil = the recording is a table
}

// condition asks for a text in a column.
type condition struct {
	column int
	text   string
}

// check opens the recording and gives the plan, or all faults that can be seen at once.
func (s *settings) check(ctx context.Context) (*plan, error) {
	pace, paceErr := playback.Settings{Speed: s.Speed, FrameScans: s.FrameScans, WallStart: s.WallStart}.Check()
	plan := &plan{playback: pace, path: s.File, loop: s.Loop}
	if s.File == "" {
		return nil, errors.Join(fault("file", errors.New("missing, give the path of a recording")), s.checkInputs(), paceErr)
	}
	if paths, err := parquetFiles(s.File); err != nil || paths != nil {
		return s.checkSeries(ctx, plan, paths, errors.Join(err, paceErr))
	}
	file, err := table.Open(s.File)
	if err != nil {
		return nil, errors.Join(fault("file", withHint(err)), s.checkInputs(), paceErr)
	}
	defer file.Close()
	plan.header = file.Header()
	if err := errors.Join(s.findColumns(plan), s.checkInputs(), paceErr); err != nil {
		return nil, err
	}
	if err := plan.survey(ctx, file.Reader); err != nil {
		return nil, fault("file", err)
	}
	return plan, nil
}

// withHint says where a file that is not there was looked for.
func withHint(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%w; a relative path counts from the folder of the configuration", err)
	}
	return err
}

// findColumns looks up every column that the settings name.
func (s *settings) findColumns(plan *plan) error {
	var faults []error
	find := func(key, name string) int {
		column := slices.Index(plan.header, name)
		if column < 0 {
			faults = append(faults, fault(key, fmt.Errorf("%s has no column %q, only %s", plan.path, name, list(plan.header))))
		}
		return column
	}
	if s.TimeColumn != "" {
		plan.time = find("time_column", s.TimeColumn)
	}
	var err error
	if plan.window, err = s.window(plan.time); err != nil {
		faults = append(faults, err)
	}
	for _, name := range slices.Sorted(maps.Keys(s.Where)) {
		plan.where = append(plan.where, condition{find("where", name), s.Where[name]})
	}
	for i := range s.Inputs {
		from := &s.Inputs[i]
		key, name := inputKey(i, "column"), cmp.Or(from.Column, from.Name)
		if from.Column == "" {
			key = inputKey(i, "name")
		}
		if name != "" { // its absence is checkInputs' to report
			plan.inputs = append(plan.inputs, from.input(find(key, name)))
		}
	}
	return errors.Join(faults...)
}

// describe tells the daemon what there is.
func (p *plan) describe() *plugin.Description {
	d := &plugin.Description{NominalRateHertz: p.rate, Finite: !p.loop}
	for i := range p.inputs {
		d.Inputs = append(d.Inputs, p.inputs[i].Input)
	}
	return d
}

func fault(key string, err error) error { return fmt.Errorf("setting %q: %w", key, err) }

// list names columns for people.
func list(header []string) string {
	const most = 20
	quoted := make([]string, 0, most+1)
	for i, name := range header {
		if i == most {
			quoted = append(quoted, fmt.Sprintf("and %d more", len(header)-most))
			break
		}
		quoted = append(quoted, fmt.Sprintf("%q", name))
	}
	return strings.Join(quoted, ", ")
}
