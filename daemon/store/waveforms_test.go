package store_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

// waveform gives a whole waveform over frames of ten readings and ten bytes, cut in the middle of the first and the last.
func waveform(name string, epoch, firstFrame, frames uint64) store.WaveformPart {
	part := store.WaveformPart{Waveform: store.Waveform{
		EventID: name, Conductor: "pack", Channel: "shunt", State: store.WaveformComplete, Epoch: epoch, BeforeNanos: 1, AfterNanos: 2,
		WallNanos: int64(firstFrame), Kept: &store.Sequences{First: firstFrame*10 + 3, Last: (firstFrame+frames)*10 - 4},
	}}
	for n := firstFrame; n < firstFrame+frames; n++ {
		part.Frames = append(part.Frames, store.WaveformFrame{Sequences: store.Sequences{First: n * 10, Last: n*10 + 9}, Encoded: []byte(fmt.Sprintf("%10d", n))})
	}
	return part
}

// stored gives the numbers of the frames that a waveform has in the store.
func stored(t testing.TB, s *store.Store, w *store.Waveform) (numbers []uint64) {
	t.Helper()
	for from := w.Kept.First; from <= w.Kept.Last; {
		frames := must(s.WaveformFrames(t.Context(), w, from, 3))(t)
		if len(frames) == 0 {
			break
		}
		for _, f := range frames {
			numbers, from = append(numbers, f.First/10), f.Last+1
		}
	}
	return numbers
}

// TestWaveformsShareFrames lets two waveforms reach over the same frames: they stand once, and stay as long as one needs them.
func TestWaveformsShareFrames(t *testing.T) {
	s := storetest.OpenMemory(t)
	a, b, other := waveform("a", 1, 0, 6), waveform("b", 1, 4, 6), waveform("other", 2, 4, 6)
	if err := s.PutWaveforms(t.Context(), []store.WaveformPart{a, b, other}); err != nil {
		t.Fatal(err)
	}
	if frames, bytes := must2(s.WaveformTotals(t.Context()))(t); frames != 16 || bytes != 160 {
		t.Errorf("%d frames of %d bytes, 10 of one time base and 6 of the other are there", frames, bytes)
	}
	dropped := must(s.DropWaveform(t.Context(), store.WaveformLimits{Bytes: 159}, "no room"))(t)
	if dropped.EventID != "a" || dropped.Bytes != 40 || dropped.Acknowledged {
		t.Errorf("dropped %+v", dropped)
	}
	if got := stored(t, s, &b.Waveform); !cmp.Equal(got, []uint64{4, 5, 6, 7, 8, 9}) {
		t.Errorf("of the other there is %v", got)
	}
	if got := must(s.Waveform(t.Context(), "a"))(t); got.State != store.WaveformDropped || got.Shortfall != "no room" || *got.Kept != *a.Kept {
		t.Errorf("it is known of it: %+v", got)
	}
	if _, err := s.Waveform(t.Context(), "x"); !isOneOf(err, store.ErrNoWaveform) {
		t.Errorf("of an event without: %v", err)
	}
	if _, err := s.Writer().Exec("UPDATE waveform_frames SET frame = x'00'"); err == nil {
		t.Error("a frame can be changed")
	}
}

func must2[A, B any](a A, b B, err error) func(testing.TB) (A, B) {
	return func(t testing.TB) (A, B) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return a, b
	}
}

// TestDropOrder drops one by one: acknowledged ones first, each kind the oldest first, never one that is still being taken or holds nothing.
func TestDropOrder(t *testing.T) {
	for name, row := range map[string]struct {
		limits store.WaveformLimits
		want   []string
	}{
		"nothing is beyond":    {store.WaveformLimits{Bytes: 50}, nil},
		"one byte beyond":      {store.WaveformLimits{Bytes: 49}, []string{"c+10"}},
		"two beyond":           {store.WaveformLimits{Bytes: 30}, []string{"c+10", "d+10"}},
		"all beyond":           {store.WaveformLimits{}, []string{"c+10", "d+10", "a10", "b10"}},
		"too old":              {store.WaveformLimits{Bytes: 50, FromWall: ptr(int64(2))}, []string{"a10", "b10"}},
		"too old and too many": {store.WaveformLimits{Bytes: 29, FromWall: ptr(int64(1))}, []string{"c+10", "d+10", "a10"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := storetest.OpenMemory(t)
			logEvents(t, s, "a", "b", "c", "d", "open", "none")
			var parts []store.WaveformPart
			for n, name := range []string{"open", "a", "b", "c", "d", "none"} {
				parts = append(parts, waveform(name, 1, uint64(max(n-1, 0)), 1))
			}
			parts[0].State, parts[0].Epoch = store.WaveformOpen, 7
			parts[5].State, parts[5].Kept, parts[5].Frames = store.WaveformShort, nil, nil
			for _, part := range parts {
				if err := s.PutWaveforms(t.Context(), []store.WaveformPart{part}); err != nil {
					t.Fatal(err)
				}
			}
			for _, name := range []string{"d", "c"} {
				must(s.Acknowledge(t.Context(), store.Acknowledgement{EventID: name, By: "me"}))(t)
			}
			if got := dropAll(t, s, row.limits); !cmp.Equal(got, row.want) {
				t.Errorf("dropped %v, want %v", got, row.want)
			}
		})
	}
}

func ptr[T any](value T) *T { return &value }

// dropAll drops what is beyond the limits: names, + for those acknowledged, and bytes.
func dropAll(t *testing.T, s *store.Store, limits store.WaveformLimits) (all []string) {
	t.Helper()
	for {
		one := must(s.DropWaveform(t.Context(), limits, "old"))(t)
		if one == nil {
			return all
		}
		all = append(all, one.EventID+map[bool]string{true: "+"}[one.Acknowledged]+fmt.Sprint(one.Bytes))
	}
}

// TestWaveformsLeaveRoom lets the disk fill: frames are refused before the ledger's room is taken; what needs none is stored, and so is all where
// nothing tells how much is free.
func TestWaveformsLeaveRoom(t *testing.T) {
	s := storetest.Open(t)
	if free, err := s.Room(); err != nil || free == 0 {
		t.Errorf("%d bytes are free where the test works: %v", free, err)
	}
	part, over := waveform("a", 1, 0, 6), waveform("a", 1, 0, 6)
	over.State, over.Shortfall, over.Frames, over.Kept = store.WaveformShort, "no room", nil, nil
	for _, row := range []struct {
		free     uint64
		unknown  error
		part     store.WaveformPart
		want     error
		complete bool
	}{
		{16<<20 + 59, nil, part, store.ErrNoRoom, false},
		{0, nil, over, nil, false},
		{16<<20 + 60, nil, part, nil, true},
		{0, errDisk, waveform("b", 1, 6, 3), nil, true},
	} {
		s.SetRoom(func() (uint64, error) { return row.free, row.unknown })
		if err := s.PutWaveforms(t.Context(), []store.WaveformPart{row.part}); !errors.Is(err, row.want) {
			t.Errorf("with %d bytes free: %v, want %v", row.free, err, row.want)
		}
		if w, err := s.Waveform(t.Context(), row.part.EventID); (err == nil && w.State == store.WaveformComplete) != row.complete {
			t.Errorf("with %d bytes free there is %+v, %v", row.free, w, err)
		}
		append1(t, s, entry("pack", "shunt", 0))
	}
}

// TestEndWaveforms ends what a daemon that was killed left open, and nothing else.
func TestEndWaveforms(t *testing.T) {
	s := storetest.OpenMemory(t)
	open, whole := waveform("open", 1, 0, 2), waveform("whole", 1, 0, 2)
	open.State = store.WaveformOpen
	if err := s.PutWaveforms(t.Context(), []store.WaveformPart{open, whole}); err != nil {
		t.Fatal(err)
	}
	if ended := must(s.EndWaveforms(t.Context(), "killed"))(t); ended != 1 {
		t.Errorf("%d were open", ended)
	}
	if got := must(s.Waveform(t.Context(), "open"))(t); got.State != store.WaveformShort || got.Shortfall != "killed" || *got.Kept != *open.Kept {
		t.Errorf("got %+v", got)
	}
	if got := must(s.Waveform(t.Context(), "whole"))(t); !cmp.Equal(*got, whole.Waveform) {
		t.Errorf("got %+v", got)
	}
}

// TestWaveformsAgainstModel puts and drops at random: there is always each frame that a waveform reaches over, and no other.
func TestWaveformsAgainstModel(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		s := must(store.OpenMemory())(t)
		defer s.Close()
		kept := map[string]store.WaveformPart{}
		for n := range rapid.IntRange(1, 20).Draw(r, "steps") {
			if rapid.IntRange(0, 2).Draw(r, "drop") == 0 {
				limit := rapid.Int64Range(0, 300).Draw(r, "limit")
				for one := must(s.DropWaveform(t.Context(), store.WaveformLimits{Bytes: limit}, "old"))(t); one != nil; {
					delete(kept, one.EventID)
					one = must(s.DropWaveform(t.Context(), store.WaveformLimits{Bytes: limit}, "old"))(t)
				}
			} else {
				part := waveform(fmt.Sprint(n), rapid.Uint64Range(1, 2).Draw(r, "epoch"), rapid.Uint64Range(0, 9).Draw(r, "first"), rapid.Uint64Range(1, 6).Draw(r, "frames"))
				kept[part.EventID] = part
				if err := s.PutWaveforms(t.Context(), []store.WaveformPart{part}); err != nil {
					r.Fatal(err)
				}
			}
			compareFrames(r, t, s, kept)
		}
	})
}

func compareFrames(r *rapid.T, t *testing.T, s *store.Store, kept map[string]store.WaveformPart) {
	distinct := map[string]bool{}
	for _, part := range kept {
		var want []uint64
		for _, f := range part.Frames {
			want = append(want, f.First/10)
			distinct[fmt.Sprint(part.Epoch, f.First)] = true
		}
		if got := stored(t, s, &part.Waveform); !slices.Equal(got, want) {
			r.Fatalf("waveform %s of epoch %d has %v, want %v", part.EventID, part.Epoch, got, want)
		}
	}
	if frames, bytes := must2(s.WaveformTotals(t.Context()))(t); frames != int64(len(distinct)) || bytes != 10*frames {
		r.Fatalf("%d frames of %d bytes, want %d", frames, bytes, len(distinct))
	}
}
