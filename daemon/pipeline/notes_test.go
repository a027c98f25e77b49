package pipeline

import (
	"context"
	"testing"
	"testing/synctest"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// TestShadowsAreHeard: what a shadow has to say is an event under its own name, as what the one in force says is.
func TestShadowsAreHeard(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, beside := &journal{}, fixed(3)
		beside.do = func(context.Context, *plugin.Summary) (*plugin.Answer, error) {
			return &plugin.Answer{Notes: []*plugin.Note{{Subject: "mark not believed", Text: "off by 60 Ah"}}}, nil
		}
		c := live(t, j, starts{"beside": always(beside)})
		_, err := c.AddShadow(t.Context(), "soc", named("beside"), func(Progress) {})
		check(t, err)
		c.Apply(t.Context(), "dev", frame(10, 10, 1, 0))
		if len(j.events) != 1 || j.events[0].GetEstimator() != "beside in the shadow as soc" || j.events[0].GetElement() != "mark not believed" {
			t.Errorf("told %v", j.events)
		}
	})
}
