package design_test

import (
	"testing"

	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/design"
	"github.com/ampledger/ampledger/daemon/referencetest"
)

var near = referencetest.Near

const head = "state: s\ndevices: [{name: adc, driver: replay}]\n"

// candidatesOf reads conductors and makes their channels' sensors; no driver says anything.
func candidatesOf(t testing.TB, conductors string) (all []design.Candidate) {
	t.Helper()
	read, err := config.Parse([]byte(head+conductors), "pack.yaml", "/")
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range daemon.Sensors(read, nil) {
		if s.Err != nil || !s.Assumed {
			t.Fatalf("%s: %v, assumed %t", s.Channel.Name, s.Err, s.Assumed)
		}
		all = append(all, design.Candidate{Conductor: s.Conductor, Channel: s.Channel, Sensor: s.Sensor, RateHertz: s.RateHertz, Assumed: s.Assumed})
	}
	return all
}

func examine(t testing.TB, conductors string, change func(q *design.Question)) *design.Study {
	t.Helper()
	q := design.DefaultQuestion()
	change(&q)
	s, err := design.Examine(candidatesOf(t, conductors), q)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// line finds a line of a case by its source.
func line(t testing.TB, c design.Case, source string) design.Line {
	t.Helper()
	for _, l := range c.Lines {
		if l.Source == source {
			return l
		}
	}
	t.Fatalf("no line %q in %+v", source, c.Lines)
	return design.Line{}
}
