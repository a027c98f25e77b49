package fusion

import (
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
)

// take makes reading k. It does not if more would have to be stated of it than of usable readings before it in the same output.
func (s *Stage) take(parts []*scan.Readings, k int, to *scan.Readings) (taken bool) {
	made := &s.reading
	made.channels = s.read(parts, k, &made.read)
	if made.channels == 0 {
		s.refuse(parts, k, to)
		return true
	}
	made.summary, made.weights = s.table.summary, s.table.of(made.channels).weights
	made.fused = mix(&made.weights, &made.read, made.channels)
	if made.channels != s.last.channels || s.stating == 0 {
		if grown := s.grown(made); grown != s.stated || s.stating == 0 {
			if to.Usable > 0 {
				return false
			}
			s.stated, s.stating = grown, made.channels
		}
	}
	s.amperes[k] = made.fused
	to.Usable++
	to.Minimum, to.Maximum = min(to.Minimum, made.fused), max(to.Maximum, made.fused)
	s.advance(parts[0], k, made)
	return true
}

// read gives the channels that are usable at scan k and their readings; those of the others are 0.
func (s *Stage) read(parts []*scan.Readings, k int, amperes *vector) (usable set) {
	for i, part := range parts[:s.channels] {
		amperes[i] = 0
		if y := part.Amperes[k]; part.QualityAt(k) == 0 && finite(y) {
			amperes[i] = y
			usable |= 1 << i
		}
	}
	return usable
}

// mix gives the weighted mean. Every way to make a reading adds in this order.
func mix(weights, amperes *vector, channels set) float64 {
	i := channels.first()
	total := float64(weights[i] * amperes[i])
	for i++; i < MostChannels; i++ {
		if channels.has(i) {
			total += float64(weights[i] * amperes[i])
		}
	}
	return total
}

// refuse makes a reading that nothing is usable of.
func (s *Stage) refuse(parts []*scan.Readings, k int, to *scan.Readings) {
	best, quality := math.NaN(), scan.Quality(0)
	for _, part := range parts[:s.channels] {
		y, causes := part.Amperes[k], part.QualityAt(k)
		if causes == 0 {
			causes = scan.NotFinite
		}
		quality |= causes
		if finite(y) && !(math.Abs(y) <= math.Abs(best)) {
			best = y
		}
	}
	s.amperes[k], s.quality[k] = best, quality
	to.Causes |= quality
	s.hide(quality)
}
