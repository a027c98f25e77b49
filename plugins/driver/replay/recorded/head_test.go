package recorded

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/plugins/plugin"
)

func TestHeadIsReadAsItWasWritten(t *testing.T) {
	for name, h := range map[string]*Head{
		"bare": {Description: &plugin.Description{Inputs: []*plugin.Input{{Name: "a", Unit: "A"}}}},
		"full": {"adc 0\"é", &plugin.Description{NominalRateHertz: 1 / 3.0, Finite: true, Inputs: []*plugin.Input{
			{Name: "shunt_code", Unit: "code", MinimumCode: -1 << 31, MaximumCode: 1<<31 - 1, CodeRangeKnown: true, VoltsPerCode: 5e-324, ZeroCodeVolts: -0.1},
			{Name: " ", Unit: "1"}, {Name: "t,°", Unit: "Cel", Averaging: true}}}},
	} {
		t.Run(name, func(t *testing.T) {
			text, err := h.Text()
			if err != nil {
				t.Fatal(err)
			}
			got, err := ParseHead(text)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(h, got, protocmp.Transform()); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

func TestHeadsThatCannotBe(t *testing.T) {
	for want, inputs := range map[string][]*plugin.Input{
		"describes no input":                                    nil,
		"describes an input without a name":                     {{Unit: "V"}},
		`the input "scan_epoch" has the name of another column`: {{Name: "scan_epoch"}},
		`the input "a" has the name of another column`:          {{Name: "a"}, {Name: "a"}},
	} {
		if _, err := (&Head{Description: &plugin.Description{Inputs: inputs}}).Text(); err == nil || err.Error() != want {
			t.Errorf("error %v, want %s", err, want)
		}
	}
}

func TestForeignHeads(t *testing.T) {
	for text, want := range map[string]string{
		`[]`:            `metadata "ampledger.recording": json:`,
		`{"version":2}`: `metadata "ampledger.recording": the form has version 2, this program reads 1`,
		`{"version":1}`: `metadata "ampledger.recording": `,
		`{"version":1,"description":{"inputs":[{"name":5}]}}`: `metadata "ampledger.recording": proto:`,
		`{"version":1,"description":{}}`:                      `metadata "ampledger.recording": describes no input`,
	} {
		if _, err := ParseHead(text); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%s: error %v, want %s…", text, err, want)
		}
	}
	if h, err := ParseHead(`{"version":1,"more":5,"description":{"inputs":[{"name":"a","more":1}]}}`); err != nil || h.Description.Inputs[0].Name != "a" {
		t.Errorf("%v, %v; want that what a later program adds is passed over", h, err)
	}
}
