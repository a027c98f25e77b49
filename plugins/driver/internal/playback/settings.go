// Package playback releases scans that are at hand already, read from a file or computed, as if they were measured now: by their
// own time, faster, slower, or as fast as they are taken.
//
// Settings are the three settings such drivers share; Check makes a Plan of them; a Pacer follows one stream through it. A frame
// is released at the time of its last scan, so its first scan is held back by the frame's span. Times are the device's, in
// nanoseconds. No goroutine is started; a Pacer belongs to one goroutine.
package playback

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// DefaultFrameScans is the greatest number of scans in a frame if the settings do not say.
const DefaultFrameScans = 1000

// MostFrameScans bounds the setting: a frame is held in memory and sent as one message.
const MostFrameScans = 100_000

// DefaultHold is the longest that a paced scan waits for its frame if the settings do not say how many scans a frame has.
const DefaultHold = 100 * time.Millisecond

// Settings are the settings, with a driver's own tags for their names `speed`, `frame_scans` and `wall_start`.
type Settings struct {
	Speed      float64 // seconds of the source in one second; 0 = as fast as possible
	FrameScans int     // scans in a frame at most; 0 = by default
	WallStart  string  // wall-clock time of the first scan, RFC 3339; empty = by default
}

// Plan is what the settings come to.
type Plan struct {
	Speed     float64
	Scans     int   // most scans in a frame
	HoldNanos int64 // longest span of a frame in the source's time; math.MaxInt64 = any
	wallStart time.Time
}

// Check gives the plan, or all faults of the settings.
func (s Settings) Check() (Plan, error) {
	plan := Plan{Speed: s.Speed, Scans: s.FrameScans, HoldNanos: math.MaxInt64}
	var faults []error
	if !(s.Speed >= 0) || math.IsInf(s.Speed, 0) {
		faults = append(faults, fmt.Errorf("setting %q: %v is no speed, give 1 for real time, or 0 for as fast as possible", "speed", s.Speed))
	}
	switch {
	case s.FrameScans < 0 || s.FrameScans > MostFrameScans:
		faults = append(faults, fmt.Errorf("setting %q: %d is not within 1 to %d", "frame_scans", s.FrameScans, MostFrameScans))
	case s.FrameScans == 0:
		plan.Scans = DefaultFrameScans
		if s.Speed > 0 {
			plan.HoldNanos = nanos(s.Speed * float64(DefaultHold))
		}
	}
	if s.WallStart != "" {
		start, err := time.Parse(time.RFC3339, s.WallStart)
		if err != nil || start.Year() < 1970 || start.Year() > 2100 {
			faults = append(faults, fmt.Errorf("setting %q: %q is no time from 1970 to 2100 such as 2026-01-31T12:00:00Z", "wall_start", s.WallStart))
		}
		plan.wallStart = start
	}
	return plan, errors.Join(faults...)
}

// nanos converts, and stays within what an int64 holds.
func nanos(value float64) int64 {
	if value >= math.MaxInt64 {
		return math.MaxInt64
	}
	return int64(value)
}
