package query

import (
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"maps"
	"math"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

//go:embed report_calibration.html
var calibrationPage string

func reportCalibrationCommand() *cobra.Command {
	channel, record, output, asJSON := "", uint64(0), "", false
	c := &cobra.Command{
		Use: "calibration [CONDUCTOR]", Short: "Write the certificate of a channel's calibration", Args: cobra.MaximumNArgs(1),
		Long: "report calibration writes the newest calibration of a channel, or the one of --record, as one HTML file that holds all it needs and prints on A4: who, when, instrument,\n" +
			"environment, method, points, fit, uncertainty budget, what the figures hint at, whether it is in force, and by which sums anybody can tell that it is as it was: the\n" +
			"record's own, which covers its points, and the end of the ledger's chain, which covers the record if it was ever applied. `ampledger charge --verify` holds the\n" +
			"records against both. The figures stand in it once more as JSON, in the element with the id figures; --json writes these alone.",
	}
	c.Flags().StringVar(&channel, "channel", "", "the channel (required)")
	c.Flags().Uint64Var(&record, "record", 0, "the calibration, by its record; default the newest")
	c.Flags().StringVarP(&output, "output", "o", "", "file to write, - for standard output; required")
	c.Flags().BoolVar(&asJSON, "json", false, "write the figures alone, as JSON")
	c.RunE = func(c *cobra.Command, args []string) error {
		if channel == "" || output == "" {
			return cli.Usagef("--channel and --output are required: the channel, and the file to write, such as -o calibration.html")
		}
		return connected(c, func(ctx context.Context, daemon *client.Client) error {
			file, err := newFile(ctx, daemon, args)
			if err != nil {
				return err
			}
			paper, err := file.certificate(channel, record)
			if err != nil {
				return err
			}
			return writePaper(c, output, asJSON, "calibration", calibrationPage, paper, paper.Figures)
		})
	}
	return c
}

// writePaper writes a page, or its figures alone.
func writePaper(c *cobra.Command, output string, asJSON bool, name, text string, paper, figures any) error {
	if asJSON {
		return writeTo(c, output, func(to io.Writer) error {
			encoder := json.NewEncoder(to)
			encoder.SetIndent("", "  ")
			return encoder.Encode(figures)
		})
	}
	page, err := parsePage(name, text, paperFunctions)
	if err != nil {
		return err
	}
	return writeReport(c, output, page, paper)
}

// paperFunctions are those of a budget and some more.
var paperFunctions = func() template.FuncMap {
	all := maps.Clone(budgetFunctions)
	all["clock"], all["records"], all["sweep"] = show.Clock, recordLines, sweepSays
	return all
}()

// file is what is on file of a conductor: its records, and the end of the ledger's chain, as they are now.
type file struct {
	conductor *ampledgerv1.Conductor
	records   []*ampledgerv1.CommissioningRecord
	chain     string // the end of the ledger's chain: sequence:SHA-256
}

func newFile(ctx context.Context, daemon *client.Client, args []string) (*file, error) {
	conductor, err := findConductor(ctx, daemon, args)
	if err != nil {
		return nil, err
	}
	records, err := recordsOf(ctx, daemon, conductor.GetName(), "")
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	statement, err := daemon.Charge.GetStatement(ctx, &ampledgerv1.GetStatementRequest{Conductor: conductor.GetName()})
	if err != nil {
		return nil, err
	}
	head := statement.GetChainHead()
	return &file{conductor, records, fmt.Sprintf("%d:%x", head.GetEntrySequence(), head.GetChainSha256())}, nil
}

// newestOf gives the newest record of a channel that is wanted; nil = there is none.
func (f *file) newestOf(channel string, wanted func(*ampledgerv1.CommissioningRecord) bool) (newest *ampledgerv1.CommissioningRecord) {
	for _, record := range f.records {
		if record.GetChannel() == channel && wanted(record) {
			newest = record
		}
	}
	return newest
}

// inForce says what is in force on a channel, by the daemon's word: a change may be on file that was found on another conversion.
func (f *file) inForce(channel string) string {
	for _, ch := range f.conductor.GetChannels() {
		if ch.GetName() == channel && ch.GetInForceSequence() == 0 {
			return "the configuration alone"
		}
	}
	change := f.newestOf(channel, func(r *ampledgerv1.CommissioningRecord) bool { return r.GetApplied() != nil || r.GetReverted() != nil })
	if change == nil {
		return "the configuration alone"
	}
	return fmt.Sprintf("%s, by record %d of %s", recordSays(change), change.GetRecordSequence(), show.Clock(change.GetWallNanos()))
}

// certificate is what the page of a calibration shows.
type certificate struct {
	Record  *ampledgerv1.CommissioningRecord
	Sensor  string
	Fit     *ampledgerv1.Calibration
	Points  []certificatePoint
	Facts   []certificateFact
	Budget  []certificateBudget
	Changes []*ampledgerv1.CommissioningRecord // that applied it, or took that back
	InForce string
	Chain   string
	Picture template.HTML
	Figures certificateFigures
}

type certificatePoint struct {
	*ampledgerv1.CalibrationPoint
	Record   uint64
	Residual float64
	Outlier  bool
}

type certificateFact struct{ Name, Text string }

// certificateBudget is what makes a current uncertain that the calibration tells, in amperes.
type certificateBudget struct {
	Current, Points, CommonOffset, CommonGain, Combined, Expanded float64
}

// certificateFigures is all of it for a program.
type certificateFigures struct {
	Calibration json.RawMessage   `json:"calibration"`
	Points      []json.RawMessage `json:"points"`
	Changes     []json.RawMessage `json:"changes"`
	ChainHead   string            `json:"chain_head"`
}

// coverage is the factor of expanded uncertainties (JCGM 100:2008, 6.3).
const coverage = 2

func (f *file) certificate(channel string, sequence uint64) (*certificate, error) {
	record := f.newestOf(channel, func(r *ampledgerv1.CommissioningRecord) bool {
		return r.GetCalibration() != nil && (sequence == 0 || r.GetRecordSequence() == sequence)
	})
	if record == nil && sequence != 0 {
		return nil, fmt.Errorf("record %d is no calibration of channel %s; `ampledger calibrate records` lists them", sequence, channel)
	}
	if record == nil {
		return nil, fmt.Errorf("channel %s of %s has no calibration: `ampledger calibrate` takes points, `ampledger calibrate fit` makes one", channel, f.conductor.GetName())
	}
	fit, err := joinPoints(record, f.records)
	if err != nil {
		return nil, err
	}
	k := record.GetCalibration()
	c := &certificate{Record: record, Fit: k, InForce: f.inForce(channel), Chain: f.chain}
	for _, ch := range f.conductor.GetChannels() {
		if ch.GetName() == channel {
			c.Sensor = fmt.Sprintf("%s, device %s, input %s", ch.GetSensor(), ch.GetDevice(), ch.GetInput())
		}
	}
	for i, p := range fit.points {
		c.Points = append(c.Points, certificatePoint{p, k.GetPointSequence()[i], k.GetResiduals()[i].GetResidualAmperes(), k.GetResiduals()[i].GetOutlier()})
	}
	for _, fact := range fit.facts() {
		c.Facts = append(c.Facts, certificateFact{fact.name, fact.text})
	}
	c.Budget, c.Changes = budgetOf(k), f.changesOf(record)
	picture, err := fit.residuals()
	if err == nil {
		c.Picture, err = inline(picture)
	}
	return c, errors.Join(err, c.figures(f.records))
}

// budgetOf takes the predicted uncertainties apart: what is common to the reference is not the points'.
func budgetOf(k *ampledgerv1.Calibration) (budget []certificateBudget) {
	for _, p := range k.GetPredicted() {
		u := p.GetStandardUncertaintyAmperes()
		b := certificateBudget{
			Current: p.GetCurrentAmperes(), CommonOffset: k.GetCommonOffsetAmperes(), CommonGain: math.Abs(k.GetCommonGainRatio() * p.GetCurrentAmperes()), Combined: u,
			Expanded: coverage * u,
		}
		b.Points = math.Sqrt(max(0, u*u-b.CommonOffset*b.CommonOffset-b.CommonGain*b.CommonGain))
		budget = append(budget, b)
	}
	return budget
}

// changesOf gives the changes that rest on a calibration, and those that rest on these.
func (f *file) changesOf(calibration *ampledgerv1.CommissioningRecord) (changes []*ampledgerv1.CommissioningRecord) {
	on := map[uint64]bool{calibration.GetRecordSequence(): true}
	for _, r := range f.records {
		if (r.GetApplied() != nil || r.GetReverted() != nil) && on[r.GetRefersToSequence()] {
			on[r.GetRecordSequence()] = true
			changes = append(changes, r)
		}
	}
	return changes
}

func (c *certificate) figures(records []*ampledgerv1.CommissioningRecord) (err error) {
	of := map[uint64]bool{}
	for _, p := range c.Points {
		of[p.Record] = true
	}
	to := &c.Figures
	to.ChainHead, to.Points, to.Changes = c.Chain, []json.RawMessage{}, []json.RawMessage{}
	to.Calibration, err = show.Value(c.Record)
	for _, r := range records {
		if of[r.GetRecordSequence()] {
			err = errors.Join(err, addValue(&to.Points, r))
		}
	}
	for _, r := range c.Changes {
		err = errors.Join(err, addValue(&to.Changes, r))
	}
	return err
}

func addValue(to *[]json.RawMessage, record *ampledgerv1.CommissioningRecord) error {
	value, err := show.Value(record)
	*to = append(*to, value)
	return err
}

// recordLines writes records, a line each.
func recordLines(records []*ampledgerv1.CommissioningRecord) (lines []string) {
	for _, r := range records {
		lines = append(lines, recordLine(r))
	}
	return lines
}
