package polynomial

import (
	"cmp"
	"slices"
)

// Places groups the points, by index, into those whose x lie within so much of the first of their group, groups in ascending order of x and points of one group
// in their own order.
func (f *Fit) Places(within float64) (places [][]int) {
	order := make([]int, len(f.values.X))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(f.values.X[a], f.values.X[b]) })
	for _, i := range order {
		if n := len(places); n > 0 && f.values.X[i]-f.values.X[places[n-1][0]] <= within {
			places[n-1] = append(places[n-1], i)
			continue
		}
		places = append(places, []int{i})
	}
	for _, place := range places {
		slices.Sort(place)
	}
	return places
}
