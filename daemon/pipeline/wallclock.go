package pipeline

import (
	"fmt"
	"time"

	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// leastStep of the wall clock is told: less is what a disciplined clock does by itself, a leap second contained.
const leastStep = 1500 * time.Millisecond

// wallClock follows the wall clock of a device's labels beside its monotonic time.
type wallClock struct {
	known bool
	epoch uint64
	shift int64 // wall-clock time less monotonic time, ns
}

// step gives by how much the wall clock was set since the moment before; a new time base has nothing to compare with.
func (w *wallClock) step(now scan.Clock) time.Duration {
	shift := now.Wall - now.Monotonic
	moved := time.Duration(shift - w.shift)
	same := w.known && w.epoch == now.Epoch
	*w = wallClock{true, now.Epoch, shift}
	if !same || moved.Abs() < leastStep {
		return 0
	}
	return moved
}

// watchWall makes an event of a wall clock that was set. Charge is integrated over the device's own time, so none of it is created or lost;
// but entries' labels jump, and whoever reads them must know.
func (c *Conductor) watchWall(s *side, now scan.Clock) {
	if step := s.wall.step(now); step != 0 {
		c.events.remark("clock/"+s.device, &now, &ampledgerv1.Event{
			Element: "clock set", Detail: clockText(s.device, step),
		})
	}
}

func clockText(device string, step time.Duration) string {
	return fmt.Sprintf("the wall clock of device %s was set by %v; charge is counted by the device's own time and does not change, labels jump",
		device, step.Round(time.Millisecond))
}
