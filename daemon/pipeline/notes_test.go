package pipeline

import (
	"context"
	"testing"
	"testing/synctest"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// TestShadowsAreHeard: what a shadow has to say of what comes is an event under its own name, once an hour for each subject; what it says while it
// is warmed up, of summaries that others have answered, is none.
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
		if len(j.events) > 0 {
			t.Errorf("told of the past: %v", j.events)
		}
		told := func(sequence uint64) int {
			c.Apply(t.Context(), "dev", frame(sequence, 10, 9, 0))
			synctest.Wait()
			c.Apply(t.Context(), "dev", frame(sequence+9, 10, 1, 0))
			n := 0
			for _, e := range j.events {
				if e.GetKind() == "note" {
					n++
				}
			}
			return n
		}
		if n := told(11); n != 1 || j.events[0].GetEstimator() != "beside in the shadow as soc" || j.events[0].GetElement() != "mark not believed" {
			t.Errorf("told %v", j.events)
		}
		if n := told(21); n != 1 {
			t.Errorf("told %d times within two seconds", n)
		}
		if n := told(36021); n != 2 {
			t.Errorf("told %d times in an hour", n)
		}
	})
}
