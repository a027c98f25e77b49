package fusion

// set is some of the channels, one bit each.
type set uint8

// has tells whether channel i is in it.
func (s set) has(i int) bool { return s>>i&1 != 0 }

// without gives the others.
func (s set) without(i int) set { return s &^ (1 << i) }

// several tells that it has two channels at least.
func (s set) several() bool { return s&(s-1) != 0 }

// first gives the first channel in it, or MostChannels.
func (s set) first() int {
	for i := range MostChannels {
		if s.has(i) {
			return i
		}
	}
	return MostChannels
}
