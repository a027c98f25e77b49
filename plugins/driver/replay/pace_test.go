package replay

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// release is when a frame came and with how many scans.
type release struct {
	after time.Duration
	scans int
}

func releases(ctx context.Context, driver *Driver) (list []release, err error) {
	begun := time.Now()
	err = driver.Stream(ctx, func(f *plugin.Frame) error {
		list = append(list, release{time.Since(begun), int(f.ScanCount)})
		return nil
	})
	return list, err
}

func TestPace(t *testing.T) {
	const (
		ms     = time.Millisecond
		gap    = "t,a\n5,1\n6,1\n3606,1\n"
		back   = "t,a\n5,1\n6,1\n2,1\n3,1\n4,1\n"
		tenth  = "t,a\n0,1\n0.05,1\n0.1,1\n0.15,1\n0.3,1\n0.3,1\n"
		faulty = "t,a\n0,1\n1,1\n1.05,1\n2,x\n"
	)
	for _, c := range []struct {
		name, text string
		settings   with
		want       []release
	}{
		{"as fast as possible", gap, with{"speed": 0}, []release{{0, 3}}},
		{"a gap is slept through", gap, with{}, []release{{0, 1}, {time.Second, 1}, {3601 * time.Second, 1}}},
		{"and scaled", gap, with{"speed": 10}, []release{{100 * ms, 2}, {360100 * ms, 1}}},
		{"slow", gap, with{"speed": 0.5}, []release{{0, 1}, {2 * time.Second, 1}, {7202 * time.Second, 1}}},
		{"backwards goes on at the pace", back, with{}, []release{{0, 1}, {time.Second, 2}, {2 * time.Second, 1}, {3 * time.Second, 1}}},
		{"held back for 100 ms at most", tenth, with{}, []release{{100 * ms, 3}, {150 * ms, 1}, {300 * ms, 2}}},
		{"faster, larger frames", tenth, with{"speed": 2}, []release{{75 * ms, 4}, {150 * ms, 2}}},
		{"frames as told", tenth, with{"frame_scans": 4}, []release{{150 * ms, 4}, {300 * ms, 2}}},
		{"a fault waits for the scans before", faulty, with{}, []release{{0, 1}, {1050 * ms, 2}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			write(t, c.text)
			synctest.Test(t, func(t *testing.T) {
				driver, _ := mustConfigure(t, c.settings)
				got, err := releases(t.Context(), driver)
				if (err != nil) != (c.text == faulty) {
					t.Error(err)
				}
				if !slices.Equal(got, c.want) {
					t.Errorf("frames came as %v, want %v", got, c.want)
				}
			})
		})
	}
}

func TestALateDaemonIsCaughtUpWith(t *testing.T) {
	write(t, "t,a\n0,1\n1,1\n2,1\n3,1\n")
	synctest.Test(t, func(t *testing.T) {
		driver, _ := mustConfigure(t, with{})
		begun, got := time.Now(), []time.Duration(nil)
		err := driver.Stream(t.Context(), func(f *plugin.Frame) error {
			got = append(got, time.Since(begun))
			if len(got) == 2 {
				time.Sleep(1500 * time.Millisecond)
			}
			return nil
		})
		if want := []time.Duration{0, 1e9, 2.5e9, 3e9}; err != nil || !slices.Equal(got, want) {
			t.Errorf("frames came at %v, %v, want %v", got, err, want)
		}
	})
}

func TestWaitingEndsWithTheContext(t *testing.T) {
	write(t, "t,a\n0,1\n3600,1\n")
	synctest.Test(t, func(t *testing.T) {
		driver, _ := mustConfigure(t, with{})
		cause := errors.New("enough")
		ctx, cancel := context.WithCancelCause(t.Context())
		time.AfterFunc(time.Minute, func() { cancel(cause) })
		begun := time.Now()
		frames, err := releases(ctx, driver)
		if !errors.Is(err, cause) || len(frames) != 1 || time.Since(begun) != time.Minute {
			t.Errorf("%d frames, %v after %v; want 1, the cause, a minute", len(frames), err, time.Since(begun))
		}
	})
}

func TestWallClock(t *testing.T) {
	write(t, "t,a\n5,1\n6,1\n")
	synctest.Test(t, func(t *testing.T) {
		for _, c := range []struct {
			settings with
			want     time.Time
		}{
			{with{"speed": 0}, time.Unix(5, 0)},
			{with{"speed": 2}, time.Now()},
			{with{"speed": 0, "wall_start": "2026-01-31T12:00:00Z"}, time.Date(2026, 1, 31, 12, 0, 0, 0, time.UTC)},
		} {
			frames := mustPlay(t, c.settings)
			all := scans(frames, 0)
			if all[0].Wall != c.want.UnixNano() || all[1].Wall-all[0].Wall != int64(time.Second) {
				t.Errorf("%v: wall %d and %d, want %d and a second more", c.settings, all[0].Wall, all[1].Wall, c.want.UnixNano())
			}
		}
	})
}
