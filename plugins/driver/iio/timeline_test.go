package iio

import (
	"math"
	"slices"
	"testing"
)

func TestStepsOfTheTimeStampsAreLostScans(t *testing.T) {
	type run struct {
		first uint64
		scans int
	}
	for _, c := range []struct {
		name   string
		blocks [][]int64
		want   []run
	}{
		{"none lost", [][]int64{{100, 110, 120}, {130}}, []run{{0, 3}, {3, 1}}},
		{"within a block", [][]int64{{100, 110, 140, 150}}, []run{{0, 2}, {4, 2}}},
		{"between blocks", [][]int64{{100}, {130, 140}}, []run{{0, 1}, {3, 2}}},
		{"less than one and a half", [][]int64{{100, 114}, {128}}, []run{{0, 2}, {2, 1}}},
		{"one and a half", [][]int64{{100, 115}}, []run{{0, 1}, {2, 1}}},
		{"repeated and backwards", [][]int64{{100, 100, 90, 100}}, []run{{0, 4}}},
		{"the first may have any time", [][]int64{{1e15}}, []run{{0, 1}}},
		{"twice", [][]int64{{0, 30, 60}}, []run{{0, 1}, {3, 1}, {6, 1}}},
		{"end to end", [][]int64{{math.MinInt64, math.MaxInt64}}, []run{{0, 1}, {1844674407370955264, 1}}},
	} {
		line := timeline{interval: 10, stamped: true}
		var got []run
		for _, times := range c.blocks {
			for len(times) > 0 {
				first, n := line.run(times)
				got = append(got, run{first, n})
				times = times[n:]
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func TestTimesOfScansWithoutStamps(t *testing.T) {
	type block struct {
		now  int64
		full bool
		want []int64
	}
	for _, c := range []struct {
		name   string
		blocks []block
		firsts []uint64
	}{
		{"the first ends with its reading", []block{{1000, false, []int64{970, 980, 990, 1000}}}, []uint64{0}},
		{"even between readings", []block{{1000, false, []int64{1000}}, {1024, false, []int64{1012, 1024}}, {1050, false, []int64{1037, 1050}}}, []uint64{0, 1, 3}},
		{"a late reading loses none", []block{{1000, false, []int64{1000}}, {1018, false, []int64{1018}}}, []uint64{0, 1}},
		{"no room", []block{{1000, false, []int64{1000}}, {1050, true, []int64{1010, 1020}}, {1060, false, []int64{1060}}}, []uint64{0, 1, 6}},
		{"full and none lost", []block{{1000, false, []int64{1000}}, {1020, true, []int64{1010, 1020}}, {1030, false, []int64{1030}}}, []uint64{0, 1, 3}},
		{"asleep", []block{{1000, false, []int64{1000}}, {2000, false, []int64{1990, 2000}}}, []uint64{0, 99}},
	} {
		line := timeline{interval: 10}
		for i, b := range c.blocks {
			times := make([]int64, len(b.want))
			behind := line.spread(times, b.now, b.full)
			first, n := line.run(times)
			line.sequence += behind
			if !slices.Equal(times, b.want) || first != c.firsts[i] || n != len(times) {
				t.Errorf("%s, reading %d: %d scans from %d at %d, want %d at %d", c.name, i, n, first, times, c.firsts[i], b.want)
			}
		}
	}
}
