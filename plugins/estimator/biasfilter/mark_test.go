package biasfilter

import (
	"math"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// mark lets a mark come with the next summary, as of its last scan.
func (s *script) mark(coulombs, u float64) {
	s.marked = append(s.marked, &plugin.Mark{PassedCoulombs: coulombs, StandardUncertaintyCoulombs: u})
}

// marking plays a summary that a mark comes with.
func (s *script) marking(coulombs, u, mean float64) {
	s.Helper()
	s.mark(coulombs, u)
	s.next(restNone, mean)
}

// Full, then through a day of load to full again: the net charge is 0 ± 200 C, and the raw integral says what the zero was.
func TestMarks(t *testing.T) {
	s := plain(t, nil)
	s.marking(1000, 100, 0.3)
	s.over(day/2, restNone, 80.3)
	s.over(day/2-10, restNone, -79.7)
	s.covers("before", 0.3*day, 0.6*day)
	s.marking(1000, 100, -79.7)
	s.covers("after", 0.3*(day+10), 160)
	if got, u := s.last.GetOffsetAmperes(), s.last.GetStandardUncertaintyAmperes(); math.Abs(got-0.3) > 2*u || u > 0.1 {
		t.Errorf("offset %v A ± %v A", got, u)
	}
	s.wantTold("sound marks")
}

// A mark between two true ones is off by 30 Ah: nothing is learnt from the pairs it is in, and the next pair is believed again.
func TestMarksThatContradict(t *testing.T) {
	s, calm := plain(t, nil), plain(t, nil)
	for _, c := range []*script{s, calm} {
		c.over(590, restCertain, 0.3)
		c.marking(0, 100, 0.3)
		c.over(7190, restNone, 0.3)
	}
	s.marking(108000, 100, 0.3)
	calm.next(restNone, 0.3)
	s.wantTold("30 Ah off", "marks contradict")
	if !sameFigures(s.last, calm.last) {
		t.Errorf("after the false mark %v, without it %v", s.last, calm.last)
	}
	s.over(7190, restNone, 0.3)
	s.marking(0, 100, 0.3)
	s.wantTold("back", "marks contradict")
	s.over(7190, restNone, 0.3)
	before := s.last.GetCorrectionUncertaintyCoulombs()
	s.marking(0, 1, 0.3)
	s.wantTold("two that agree")
	s.covers("after all", 0.3*float64(s.count)*10, before)
	s.over(7200, restNone, 0.3)
	s.over(600, restCertain, 0.3)
	s.wantTold("a rest after them")
	s.covers("after a rest", 0.3*float64(s.count)*10, before)
}

// Two marks of one moment: their mean counts, if they agree; the newer, if they do not.
func TestTwoMarksOfOneMoment(t *testing.T) {
	once, twice, torn := plain(t, nil), plain(t, nil), plain(t, nil)
	for _, s := range []*script{once, twice, torn} {
		s.marking(0, 1, 0.3)
		s.over(7190, restNone, 0.3)
		s.mark(0, 100)
	}
	twice.mark(0, 100)
	torn.mark(108000, 100)
	for _, s := range []*script{once, twice, torn} {
		s.next(restNone, 0.3)
		s.covers("two marks of one moment", 0.3*7210, 110)
	}
	single := once.last.GetCorrectionUncertaintyCoulombs()
	near(t, "two of ± 100 C", twice.last.GetCorrectionUncertaintyCoulombs(), single/math.Sqrt2, 1e-2)
	twice.wantTold("two that agree")
	torn.wantTold("two that do not", "marks contradict")
	if !sameFigures(once.last, torn.last) {
		t.Errorf("after a false mark beside a true one %v, without it %v", torn.last, once.last)
	}
}

// What cannot be used is told and changes nothing.
func TestMarksThatAreRefused(t *testing.T) {
	for what, c := range map[string]struct {
		want string
		mark *plugin.Mark
	}{
		"no uncertainty":   {"uncertainty above 0", &plugin.Mark{}},
		"below 0":          {"uncertainty above 0", &plugin.Mark{StandardUncertaintyCoulombs: -1}},
		"no charge":        {"must be finite", &plugin.Mark{PassedCoulombs: math.NaN(), StandardUncertaintyCoulombs: 1}},
		"endless":          {"must be finite", &plugin.Mark{StandardUncertaintyCoulombs: math.Inf(1)}},
		"uncertainty none": {"must be finite", &plugin.Mark{StandardUncertaintyCoulombs: math.NaN()}},
	} {
		s, calm := plain(t, nil), plain(t, nil)
		for _, each := range []*script{s, calm} {
			each.marking(0, 1, 0.3)
			each.over(600, restNone, 0.3)
		}
		s.marked = []*plugin.Mark{c.mark}
		s.next(restNone, 0.3)
		calm.next(restNone, 0.3)
		notes := s.Notes()
		if len(notes) != 1 || notes[0].GetSubject() != "mark refused" || !strings.Contains(notes[0].GetText(), c.want) {
			t.Errorf("%s: notes %v, want one that says %q", what, notes, c.want)
		}
		s.marking(0, 1, 0.3)
		calm.marking(0, 1, 0.3)
		if !sameFigures(s.last, calm.last) {
			t.Errorf("%s: %v, without it %v", what, s.last, calm.last)
		}
	}
}

// The second device's summaries end 5 s before the mark, which can be borne, or an hour, which says that their clocks have nothing in common.
func TestMarksOfTwoDevices(t *testing.T) {
	for behind, learns := range map[int64]bool{5: true, 3600: false} {
		s := pair(t, with{"difference_floor_amperes": 1e6})
		for k := range int64(2000) {
			for i, c := range s.channels {
				end := (k+1)*10 - int64(i)*behind
				summary := &plugin.Summary{
					Device: c.name, FirstSequence: uint64(k) * 100, LastSequence: uint64(k)*100 + 99, Rest: restNone,
					FirstMonotonicNanos: end*1e9 - 99e8, LastMonotonicNanos: end * 1e9,
					Channels: []*plugin.ChannelSummary{{Name: c.name, ReadingCount: 100, MeanAmperes: 0.5, IntegralSeconds: 10, IntegralCoulombs: 5}},
				}
				if i == 0 && k%1998 == 1 {
					summary.Marks = []*plugin.Mark{{StandardUncertaintyCoulombs: 100}}
				}
				if _, err := s.Observe(summary); err != nil {
					t.Fatal(err)
				}
			}
		}
		zero := s.channels[1].at.zero
		b, u := s.filter.x[zero], math.Sqrt(s.filter.p[zero*s.filter.n+zero])
		if learnt := u < 0.2; learnt != learns || learns && math.Abs(b-0.5) > 2*u {
			t.Errorf("%d s behind: zero %v A ± %v A, want it learnt: %v", behind, b, u, learns)
		}
		s.wantTold("sound marks")
	}
}

// Where time runs backwards what flowed since the mark before is not known: the pair says nothing, and the next does.
func TestMarksOfTwoTimeBases(t *testing.T) {
	s := plain(t, nil)
	s.over(7200, restNone, 0.3)
	s.marking(0, 1, 0.3)
	s.nanos = 0
	s.over(1000, restNone, 0.3)
	s.marking(36000, 1, 0.3)
	if b := s.last.GetCorrectionCoulombs(); b != 0 {
		t.Errorf("B = %v C of marks before and after", b)
	}
	s.over(7190, restNone, 0.3)
	s.marking(36000, 1, 0.3)
	s.wantTold("sound marks")
	s.covers("after two of one time base", 0.3*float64(s.count)*10, 300)
}

// A mark of another device that is older than the newest cannot be compared with it.
func TestMarkOutOfOrder(t *testing.T) {
	s := pair(t, nil)
	at := func(channel string, seconds int64) *plugin.Summary {
		return &plugin.Summary{
			Device: channel, FirstMonotonicNanos: seconds*1e9 - 1e9, LastMonotonicNanos: seconds * 1e9, Channels: []*plugin.ChannelSummary{{Name: channel}},
			Marks: []*plugin.Mark{{StandardUncertaintyCoulombs: 1}},
		}
	}
	for _, summary := range []*plugin.Summary{at("good", 100), at("poor", 95)} {
		if _, err := s.Observe(summary); err != nil {
			t.Fatal(err)
		}
	}
	notes := s.Notes()
	if len(notes) != 1 || notes[0].GetSubject() != "mark refused" || !strings.Contains(notes[0].GetText(), "5 s before the one before") {
		t.Errorf("notes %v", notes)
	}
}
