package daemon

import (
	"testing"
	"time"

	"github.com/ampledger/ampledger/daemon/store"
)

func TestClockStep(t *testing.T) {
	const second = int64(time.Second)
	at := func(id string, boot, wall int64) store.Clock {
		return store.Clock{BootID: id, BootNanos: boot * second, WallNanos: wall * second}
	}
	for name, c := range map[string]struct {
		before, now store.Clock
		want        time.Duration
	}{
		"nothing happened":                      {at("a", 100, 5000), at("a", 160, 5060), 0},
		"set forward by an hour":                {at("a", 100, 5000), at("a", 160, 8660), time.Hour},
		"set back by an hour":                   {at("a", 100, 5000), at("a", 160, 1460), -time.Hour},
		"slewed by less than a second":          {at("a", 100, 5000), store.Clock{BootID: "a", BootNanos: 160 * second, WallNanos: 5060*second + second/2}, 0},
		"a leap second":                         {at("a", 100, 5000), at("a", 160, 5059), -time.Second},
		"the machine was started in between":    {at("a", 100, 5000), at("b", 10, 9000), 0},
		"a row that cannot be":                  {at("a", -1, 5000), at("a", 160, 9000), 0},
		"a time since the start that went back": {at("a", 200, 5000), at("a", 160, 9000), 0},
		"a century":                             {at("a", 100, 5000), at("a", 160, 5000+100*365*86400), 0},
		"no clock was put down before":          {store.Clock{}, at("b", 10, 9000), 0},
		"the machine slept, the wall went on":   {at("a", 100, 5000), at("a", 3700, 8600), 0},
	} {
		if got := clockStep(c.before, c.now); got != c.want {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

func TestHostClockGoesOn(t *testing.T) {
	first, err := hostClock()
	if err != nil {
		t.Fatal(err)
	}
	second, err := hostClock()
	if err != nil || second.BootID != first.BootID || second.BootNanos < first.BootNanos || first.BootID == "" || clockStep(first, second) != 0 {
		t.Errorf("%+v then %+v (%v)", first, second, err)
	}
}
