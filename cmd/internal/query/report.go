package query

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"

	"github.com/spf13/cobra"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"github.com/ampledger/ampledger/cmd/internal/cli"
)

func reportCommand() *cobra.Command {
	return cli.Group(&cobra.Command{
		Use: "report", Short: "Write a paper: one HTML file that holds all it needs and prints on A4",
	}, reportBudgetCommand(), reportCalibrationCommand(), reportCommissioningCommand())
}

// pageStyle is what all pages look like.
//
//go:embed report_style.html
var pageStyle string

// pageCase is the uncertainty budget of a reading, and of the charge of such readings.
//
//go:embed report_case.html
var pageCase string

// parsePage makes a page's template.
func parsePage(name, text string, functions template.FuncMap) (*template.Template, error) {
	page, err := template.New(name).Funcs(functions).Parse(text)
	if err != nil {
		return nil, err
	}
	for name, part := range map[string]string{"style": pageStyle, "case": pageCase} {
		if _, err = page.New(name).Parse(part); err != nil {
			return nil, err
		}
	}
	return page, nil
}

// writeReport renders a page into a file; "-" is standard output. It is rendered as a whole first, so that no half of one is left behind.
func writeReport(c *cobra.Command, name string, page *template.Template, content any) error {
	var text bytes.Buffer
	if err := page.Execute(&text, content); err != nil {
		return err
	}
	err := writeTo(c, name, func(to io.Writer) error {
		_, err := text.WriteTo(to)
		return err
	})
	if err != nil {
		return fmt.Errorf("--output: %w", err)
	}
	return nil
}

const (
	inlineWidth  = 17 * vg.Centimeter
	inlineHeight = 7.2 * vg.Centimeter
)

// inline draws a plot as SVG that stands in a page.
func inline(p *plot.Plot) (template.HTML, error) {
	canvas := vgsvg.New(inlineWidth, inlineHeight)
	paint(draw.New(canvas), p)
	var text bytes.Buffer
	if _, err := canvas.WriteTo(&text); err != nil {
		return "", err
	}
	at := bytes.Index(text.Bytes(), []byte("<svg")) // before it stands what begins a file
	if at < 0 {
		return "", fmt.Errorf("the plot is no SVG")
	}
	return template.HTML(text.Bytes()[at:]), nil // the plot's own labels are escaped by the canvas
}
