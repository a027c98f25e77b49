package playback

import (
	"context"
	"errors"
	"math"
	"testing"
	"testing/synctest"
	"time"
)

func TestCheck(t *testing.T) {
	for _, c := range []struct {
		name     string
		settings Settings
		scans    int
		hold     int64
	}{
		{"as fast as possible", Settings{}, 1000, math.MaxInt64},
		{"real time", Settings{Speed: 1}, 1000, 1e8},
		{"slower", Settings{Speed: 0.5}, 1000, 5e7},
		{"faster", Settings{Speed: 60}, 1000, 6e9},
		{"fastest", Settings{Speed: 1e300}, 1000, math.MaxInt64},
		{"frames as told", Settings{Speed: 1, FrameScans: 7}, 7, math.MaxInt64},
	} {
		t.Run(c.name, func(t *testing.T) {
			plan, err := c.settings.Check()
			if err != nil || plan.Scans != c.scans || plan.HoldNanos != c.hold {
				t.Errorf("%d scans, %d ns, %v; want %d, %d", plan.Scans, plan.HoldNanos, err, c.scans, c.hold)
			}
		})
	}
}

func TestCheckGivesAllFaults(t *testing.T) {
	_, err := Settings{Speed: -1, FrameScans: 100_001, WallStart: "today"}.Check()
	want := `setting "speed": -1 is no speed, give 1 for real time, or 0 for as fast as possible
setting "frame_scans": 100001 is not within 1 to 100000
setting "wall_start": "today" is no time from 1970 to 2100 such as 2026-01-31T12:00:00Z`
	if err == nil || err.Error() != want {
		t.Errorf("error\n%v\nwant\n%s", err, want)
	}
	for _, s := range []Settings{{Speed: math.Inf(1)}, {Speed: math.NaN()}, {FrameScans: -1}, {WallStart: "1969-12-31T23:59:59Z"}} {
		if _, err := s.Check(); err == nil {
			t.Errorf("%+v: no error", s)
		}
	}
}

func start(t *testing.T, s Settings, first int64) *Pacer {
	t.Helper()
	plan, err := s.Check()
	if err != nil {
		t.Fatal(err)
	}
	return plan.Start(first)
}

func TestAdvanceCountsStepsForward(t *testing.T) {
	pacer := start(t, Settings{}, 1000)
	for _, c := range []struct{ to, want int64 }{{1000, 0}, {1005, 5}, {1005, 5}, {0, 5}, {10, 15}, {-3e18, 15}, {3e18, 6e18 + 15}, {-3e18, 6e18 + 15}, {3e18, math.MaxInt64}} {
		if got := pacer.Advance(c.to); got != c.want {
			t.Errorf("Advance(%d) = %d, want %d", c.to, got, c.want)
		}
	}
}

func TestWall(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for _, c := range []struct {
			settings Settings
			want     time.Time // of a scan 2 s after the first, which has time 5 s
		}{
			{Settings{}, time.Unix(7, 0)},
			{Settings{Speed: 4}, time.Now().Add(2 * time.Second)},
			{Settings{WallStart: "2026-01-31T12:00:00+01:00"}, time.Date(2026, 1, 31, 11, 0, 2, 0, time.UTC)},
			{Settings{Speed: 4, WallStart: "2026-01-31T12:00:00Z"}, time.Date(2026, 1, 31, 12, 0, 2, 0, time.UTC)},
		} {
			if got := start(t, c.settings, 5e9).Wall(7e9); got != c.want.UnixNano() {
				t.Errorf("%+v: wall %v, want %v", c.settings, time.Unix(0, got).UTC(), c.want.UTC())
			}
		}
	})
}

func TestWaitScalesTime(t *testing.T) {
	for speed, want := range map[float64]time.Duration{0: 0, 1: time.Hour, 2: 30 * time.Minute, 0.5: 2 * time.Hour} {
		synctest.Test(t, func(t *testing.T) {
			pacer, begun := start(t, Settings{Speed: speed}, 0), time.Now()
			for range 2 { // what is due already does not wait
				if err := pacer.Wait(t.Context(), int64(time.Hour)); err != nil {
					t.Fatal(err)
				}
				if got := time.Since(begun); got != want {
					t.Errorf("speed %v: waited %v, want %v", speed, got, want)
				}
			}
		})
	}
}

func TestWaitEndsWithTheContext(t *testing.T) {
	cause := errors.New("enough")
	for _, speed := range []float64{0, 1, 1e-300} {
		synctest.Test(t, func(t *testing.T) {
			pacer, begun := start(t, Settings{Speed: speed}, 0), time.Now()
			ctx, cancel := context.WithCancelCause(t.Context())
			if speed == 0 {
				cancel(cause)
			}
			time.AfterFunc(time.Minute, func() { cancel(cause) })
			if err := pacer.Wait(ctx, int64(time.Hour)); !errors.Is(err, cause) {
				t.Errorf("speed %v: error %v, want the cause", speed, err)
			}
			if got := time.Since(begun); got > time.Minute {
				t.Errorf("speed %v: ended after %v", speed, got)
			}
		})
	}
}
