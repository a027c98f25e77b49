package replay

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/driver/replay/columns"
	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// ownRead is what is read of a recording of the daemon before its inputs, the last only if it is there.
var ownRead = [...]string{recorded.Sequence, recorded.Monotonic, recorded.Wall, recorded.Epoch, recorded.Uncertainty}

// checkSeries completes a plan for files in Parquet.
func (s *settings) checkSeries(ctx context.Context, plan *plan, paths []string, before error) (*plan, error) {
	if len(s.Where) > 0 {
		before = errors.Join(before, fault("where", errors.New("chooses rows of a CSV file; there is no such choice in Parquet")))
	}
	if err := errors.Join(before, s.checkInputs()); err != nil {
		return nil, err
	}
	plan.series = &series{paths: paths}
	header, head, err := plan.series.check()
	if err != nil {
		return nil, fault("file", withHint(err))
	}
	plan.header = header
	if err := s.findColumns(plan); err != nil {
		return nil, err
	}
	plan.series.own = head != nil && s.TimeColumn == ""
	plan.series.ownWall = plan.series.own && s.Speed == 0 && s.WallStart == ""
	if err := plan.surveySeries(ctx, head); err != nil {
		return nil, err
	}
	return plan, nil
}

// surveySeries looks into the first file for what the settings leave open.
func (p *plan) surveySeries(ctx context.Context, head *recorded.Head) error {
	file, err := columns.Open(p.series.paths[0])
	if err != nil {
		return fault("file", err)
	}
	defer file.Close()
	if len(p.inputs) == 0 {
		p.takeColumns(file, head)
	}
	if len(p.inputs) == 0 {
		return fault("file", fmt.Errorf("%s: no column but the time holds numbers", file.Name()))
	}
	if err := p.checkNumeric(file); err != nil {
		return fault("file", err)
	}
	p.series.read = p.columnsRead()
	if p.series.own {
		p.rate = head.Description.GetNominalRateHertz()
	}
	return p.surveyRate(ctx)
}

// takeColumns makes inputs of the columns, in a recording of the daemon those that the device had.
func (p *plan) takeColumns(file *columns.File, head *recorded.Head) {
	if p.series.own {
		for i, described := range head.Description.GetInputs() {
			p.inputs = append(p.inputs, input{Input: proto.CloneOf(described), column: file.Own() + i, scale: 1, code: described.GetUnit() == "code", raw: true})
		}
		return
	}
	for column, name := range p.header {
		if column != p.time && file.Numeric(column) == nil {
			p.inputs = append(p.inputs, input{Input: &plugin.Input{Name: name, Unit: "1"}, column: column, scale: 1})
		}
	}
}

// checkNumeric refuses columns that are no numbers, and finds those whose values go out bit for bit.
func (p *plan) checkNumeric(file *columns.File) error {
	var faults []error
	if !p.series.own {
		faults = append(faults, file.Numeric(p.time))
	}
	for i := range p.inputs {
		in := &p.inputs[i]
		faults = append(faults, file.Numeric(in.column))
		in.raw = in.raw || (!in.code && in.scale == 1 && in.offset == 0 && file.Double(in.column))
	}
	return errors.Join(faults...)
}

// columnsRead lists the columns a player reads: those of the time, then the inputs'.
func (p *plan) columnsRead() (read []int) {
	read = []int{p.time}
	if p.series.own {
		read = read[:0]
		for _, name := range ownRead {
			if column := slices.Index(p.header, name); column >= 0 {
				read = append(read, column)
			}
		}
	}
	for i := range p.inputs {
		read = append(read, p.inputs[i].column)
	}
	return read
}

// surveyRate finds the rate by the first rows, if it is not known, and that there are any. A fault in a later one than the first is left for
// the stream to report in its turn.
func (p *plan) surveyRate(ctx context.Context) error {
	player := newSeriesPlayer(newOutlet(p, nil))
	defer player.close()
	var times []int64
	for len(times) < surveyRows {
		rows, err := player.next(ctx)
		if err == nil {
			times = append(times, player.within(rows)...)
			err = rows.fault
		}
		if err != nil {
			if err := p.surveyEnd(err, len(times)); err != nil {
				return fault("file", err)
			}
			break
		}
	}
	if p.rate == 0 {
		p.rate = medianRate(times[:min(len(times), surveyRows)])
	}
	return nil
}
