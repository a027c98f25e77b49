//go:build unix

package pluginhost_test

import (
	"context"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// deriving is an estimator that names outputs and gives values as its settings say; a value may be no number.
type deriving struct {
	counting `json:"-"`
	Named    []named `json:"named"`
	Given    []given `json:"given"`
	Readings bool    `json:"readings"`
}

type named struct {
	Name string `json:"name"`
	Unit string `json:"unit"`
	Text string `json:"text"`
}

type given struct {
	Name        string  `json:"name"`
	Value       float64 `json:"value"`
	Uncertainty float64 `json:"uncertainty"`
	NaN         bool    `json:"nan"`
}

func (d *deriving) Configure(_ context.Context, conductor plugin.Conductor, settings plugin.Settings) (string, error) {
	return "derives for " + conductor.Name, settings.Decode(d)
}

func (d *deriving) WantsReadings() bool { return d.Readings }

func (d *deriving) Outputs() (all []*plugin.Output) {
	for _, n := range d.Named {
		all = append(all, &plugin.Output{Name: n.Name, Unit: n.Unit, Text: n.Text})
	}
	return all
}

func (d *deriving) Derived() (all []*plugin.OutputValue) {
	for _, g := range d.Given {
		v := &plugin.OutputValue{Name: g.Name, Value: g.Value, UncertaintyValue: g.Uncertainty}
		if g.NaN {
			v.Value = math.NaN()
		}
		all = append(all, v)
	}
	return all
}

var charged = with{"name": "state_of_charge", "unit": "1", "text": "of the rated capacity"}

func TestOutputs(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	e := startEstimator(t, host, "deriving", with{
		"named": []any{charged, with{"name": "age", "unit": "s"}}, "readings": true,
		"given": []any{with{"name": "state_of_charge", "value": 0.5, "uncertainty": 0.01}},
	}, nil)
	want := []*plugin.Output{{Name: "state_of_charge", Unit: "1", Text: "of the rated capacity"}, {Name: "age", Unit: "s"}}
	if diff := cmp.Diff(want, e.Outputs, protocmp.Transform()); diff != "" || !e.WantsReadings {
		t.Errorf("wants readings: %v; outputs (-want +got):\n%s", e.WantsReadings, diff)
	}
	answer, err := e.Observe(t.Context(), summary("adc0", 9))
	if err != nil {
		t.Fatal(err)
	}
	values := []*plugin.OutputValue{{Name: "state_of_charge", Value: 0.5, UncertaintyValue: 0.01}}
	if diff := cmp.Diff(values, answer.GetOutputs(), protocmp.Transform()); diff != "" {
		t.Error("(-want +got):\n", diff)
	}
}

func TestOutputsThatCannotBeMeant(t *testing.T) {
	t.Parallel()
	const aName = ": a name has lower-case letters, digits and _, begins with a letter and has 40 at most"
	for name, c := range map[string]struct {
		named []any
		want  string
	}{
		"no name":       {[]any{with{"unit": "1"}}, `output ""` + aName},
		"a long name":   {[]any{with{"name": strings.Repeat("a", 41), "unit": "1"}}, `output "` + strings.Repeat("a", 41) + `"` + aName},
		"a loud name":   {[]any{with{"name": "SOC", "unit": "1"}}, `output "SOC"` + aName},
		"named twice":   {[]any{charged, charged}, `output "state_of_charge" is named twice`},
		"no unit":       {[]any{with{"name": "soc"}}, `output "soc": "" is no unit; write 1 if it has none`},
		"a unit's tail": {[]any{with{"name": "soc", "unit": "1\n"}}, `output "soc": "1\n" is no unit; write 1 if it has none`},
		"lines":         {[]any{with{"name": "soc", "unit": "1", "text": "a\nb"}}, `output "soc": its text is not one line of 200 bytes at most`},
		"too many":      {make33(), `names 33 outputs, 32 are allowed`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			host, _ := newHost(t)
			_, err := host.StartEstimator(t.Context(), shipped("deriving"), pack, with{"named": c.named}, pluginhost.Kept{})
			wantError(t, err, "estimator deriving: "+c.want)
		})
	}
}

func make33() (all []any) {
	for k := range 33 {
		all = append(all, with{"name": "output_" + strings.Repeat("x", k), "unit": "1"})
	}
	return all
}

func TestValuesThatAreNotBelieved(t *testing.T) {
	t.Parallel()
	half := with{"name": "state_of_charge", "value": 0.5}
	for name, c := range map[string]struct {
		given []any
		want  string
	}{
		"never named":          {[]any{with{"name": "soc"}}, `output "soc": was not named by Configure`},
		"twice":                {[]any{half, half}, `output "state_of_charge": answered twice`},
		"not a number":         {[]any{with{"name": "state_of_charge", "nan": true}}, `output "state_of_charge": NaN ± 0 makes no sense`},
		"negative uncertainty": {[]any{with{"name": "state_of_charge", "uncertainty": -1}}, `output "state_of_charge": 0 ± -1 makes no sense`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			host, _ := newHost(t)
			e := startEstimator(t, host, "deriving", with{"named": []any{charged}, "given": c.given}, nil)
			_, err := e.Observe(t.Context(), summary("adc0", 9))
			wantError(t, err, "estimator deriving: "+c.want)
		})
	}
}
