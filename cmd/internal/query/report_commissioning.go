package query

import (
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/show"
	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/design"
	"github.com/ampledger/ampledger/daemon/metrology/inspection"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

//go:embed report_commissioning.html
var commissioningPage string

func reportCommissioningCommand() *cobra.Command {
	flags, configuration, output, asJSON := inspectFlags{}, "", "", false
	c := &cobra.Command{
		Use: "commissioning [CONDUCTOR]", Short: "Look at what a conductor's channels read, and write the paper of its commissioning", Args: cobra.MaximumNArgs(1),
		Long: "report commissioning reads a conductor's channels for some seconds and looks at direction, zero, noise, counts of the range, order of bytes, scale, 50 Hz and 60 Hz\n" +
			"pick-up and whether the channels agree. It writes that, and what is on record of each channel (zeros, calibrations, what is in force), as one HTML file that\n" +
			"holds all it needs and prints on A4, with the end of the ledger's chain. Say what flows meanwhile (--state): direction and zero can be told from that alone.\n" +
			"The figures stand in it once more as JSON, in the element with the id figures; --json writes these alone. Exit status 1 if a check failed, the paper written all the same.",
	}
	flags.add(c)
	c.Flags().StringVar(&configuration, "config", "", "the configuration of the daemon: its uncertainty budget goes into the paper")
	c.Flags().StringVarP(&output, "output", "o", "", "file to write, - for standard output; required")
	c.Flags().BoolVar(&asJSON, "json", false, "write the figures alone, as JSON")
	c.RunE = func(c *cobra.Command, args []string) error {
		if output == "" {
			return cli.Usagef("--output is required: the file to write, such as -o commissioning.html")
		}
		if err := flags.check(); err != nil {
			return err
		}
		return connected(c, func(ctx context.Context, at *client.Client) error {
			file, err := newFile(ctx, at, args)
			if err != nil {
				return err
			}
			budget, err := budgetFor(configuration, file.conductor.GetName())
			if err != nil {
				return err
			}
			paper, err := file.commissioning(ctx, at, &flags)
			if err != nil {
				return err
			}
			paper.Budget, paper.Figures.Budget = budget, budget
			return errors.Join(writePaper(c, output, asJSON, "commissioning", commissioningPage, paper, paper.Figures), paper.failure())
		})
	}
	return c
}

// commissioningPaper is what the page shows.
type commissioningPaper struct {
	Conductor, When, By, Note, State string
	Seconds                          float64
	Findings                         []inspection.Finding
	Channels                         []commissionedChannel
	Budget                           *design.Study // nil = nobody asked
	Chain                            string
	Figures                          commissioningFigures
}

type commissionedChannel struct {
	Name, Sensor, InForce string
	Records               []*ampledgerv1.CommissioningRecord // but points
}

// commissioningFigures is all of it for a program.
type commissioningFigures struct {
	Conductor string               `json:"conductor"`
	State     string               `json:"state"`
	Findings  []inspection.Finding `json:"findings"`
	Records   []json.RawMessage    `json:"records"`
	Budget    *design.Study        `json:"budget"`
	ChainHead string               `json:"chain_head"`
}

// budgetFor makes the uncertainty budget of a conductor's channels by its configuration, without a driver: the daemon has them. nil = no configuration is named.
func budgetFor(name, conductor string) (*design.Study, error) {
	if name == "" {
		return nil, nil
	}
	read, err := cli.LoadConfig(name)
	if err != nil {
		return nil, err
	}
	var all []design.Candidate
	for _, s := range daemon.Sensors(read, nil) {
		if s.Conductor.Name == conductor && s.Err == nil {
			all = append(all, design.Candidate{Conductor: s.Conductor, Channel: s.Channel, Sensor: s.Sensor, RateHertz: s.RateHertz, Assumed: s.Assumed})
		}
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("--config %s: it has no conductor %s with a channel whose budget could be made", name, conductor)
	}
	return design.Examine(all, design.DefaultQuestion())
}

// commissioning reads the channels and puts the paper together.
func (f *file) commissioning(ctx context.Context, at *client.Client, flags *inspectFlags) (*commissioningPaper, error) {
	channels, err := flags.read(ctx, at, f.conductor)
	if err != nil {
		return nil, err
	}
	p := &commissioningPaper{
		Conductor: f.conductor.GetName(), When: show.Clock(time.Now().UnixNano()), By: flags.by, Note: flags.note, State: flags.state, Seconds: flags.seconds, Chain: f.chain,
		Findings: inspection.Inspect(channels, flags.flow(f.conductor)),
	}
	p.Figures = commissioningFigures{p.Conductor, p.State, p.Findings, []json.RawMessage{}, nil, p.Chain}
	for _, ch := range f.conductor.GetChannels() {
		if ch.GetSensor() == fusedSensor {
			continue
		}
		of := commissionedChannel{Name: ch.GetName(), Sensor: fmt.Sprintf("%s, device %s, input %s", ch.GetSensor(), ch.GetDevice(), ch.GetInput()), InForce: f.inForce(ch.GetName())}
		for _, r := range f.records {
			if r.GetChannel() == ch.GetName() && r.GetPoint() == nil {
				of.Records = append(of.Records, r)
			}
		}
		p.Channels = append(p.Channels, of)
	}
	for _, r := range f.records {
		err = errors.Join(err, addValue(&p.Figures.Records, r))
	}
	return p, err
}

// failure names the checks that failed; nil = none did.
func (p *commissioningPaper) failure() error {
	var faults []error
	for _, f := range p.Findings {
		if f.Verdict == inspection.Failed {
			faults = append(faults, fmt.Errorf("%s of %s: %s", f.Check, f.Channel, f.Text))
		}
	}
	return errors.Join(faults...)
}
