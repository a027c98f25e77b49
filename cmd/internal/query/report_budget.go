package query

import (
	_ "embed"
	"html/template"
	"path/filepath"

	"github.com/spf13/cobra"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/daemon/design"
)

//go:embed report_budget.html
var budgetPage string

// budgetPaper is what the page shows.
type budgetPaper struct {
	File, SHA256 string
	Study        *design.Study
	Assumptions  string
	Pictures     []template.HTML
	NoPicture    string // why there is none
}

func reportBudgetCommand() *cobra.Command {
	flags, output := budgetFlags{}, ""
	c := &cobra.Command{
		Use: "budget CONFIG", Short: "Write the uncertainty budget of a configuration's channels", Args: cli.Arguments(1),
		Long: "report budget writes what `ampledger budget` finds as one HTML file that holds all it needs and prints on A4: conclusions, plots, and for each channel the\n" +
			"tables. The figures stand in it once more as JSON, in the element with the id figures. The same configuration and flags give the same bytes.",
	}
	flags.add(c)
	c.Flags().StringVarP(&output, "output", "o", "", "file to write, - for standard output; required")
	c.RunE = func(c *cobra.Command, args []string) error {
		if output == "" {
			return cli.Usagef("--output is required: the file to write, such as -o budget.html")
		}
		page, err := parsePage("budget", budgetPage, budgetFunctions)
		if err != nil {
			return err
		}
		study, err := examine(c, args[0], flags)
		if err != nil {
			return err
		}
		read, err := cli.LoadConfig(args[0])
		if err != nil {
			return err
		}
		paper := budgetPaper{File: filepath.Base(args[0]), SHA256: read.SHA256, Study: study, Assumptions: budgetText{study}.assumptions()}
		paper.draw()
		return writeReport(c, output, page, paper)
	}
	return c
}

var budgetFunctions = template.FuncMap{
	"facts": func(ch design.Channel) []map[string]string {
		var all []map[string]string
		for _, f := range facts(ch) {
			all = append(all, map[string]string{"Name": f.name, "Text": f.text})
		}
		return all
	},
	"counted": counted, "unit": plainUnit, "star": star, "freedom": freedom, "optional": optionalFigure,
	"percent": func(ratio float64) float64 { return 100 * ratio },
}

// draw makes the pictures; where nothing is stated there are none.
func (p *budgetPaper) draw() {
	for _, celsius := range p.Study.Question.Celsius {
		picture, err := budgetPicture(p.Study, celsius)
		if err != nil {
			p.NoPicture = err.Error()
			return
		}
		if image, err := inline(picture); err == nil {
			p.Pictures = append(p.Pictures, image)
		}
	}
	if picture, err := chargePicture(p.Study); err == nil {
		if image, err := inline(picture); err == nil {
			p.Pictures = append(p.Pictures, image)
		}
	}
}
