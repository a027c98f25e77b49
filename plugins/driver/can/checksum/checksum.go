package checksum

import "slices"

// Algorithm is a way to compute a checksum.
type Algorithm struct {
	Name string
	Bits int // of the sum: 8 or 16

	table   *[256]uint16 // nil = not cyclic
	initial uint16
	invert  uint16 // is added to the sum at its end, modulo 2
	step    func(sum uint16, data byte) uint16
}

// algorithms are those there are. The cyclic ones take the most significant bit first.
var algorithms = []Algorithm{
	cyclic("crc8-sae-j1850", 8, 0x1d, 0xff, 0xff),
	cyclic("crc8-sae-j1850-zero", 8, 0x1d, 0, 0), // with the data identifier first: profile 1 of AUTOSAR's end-to-end protection
	cyclic("crc8-autosar", 8, 0x2f, 0xff, 0xff),
	cyclic("crc8-smbus", 8, 0x07, 0, 0),
	cyclic("crc16-ibm-3740", 16, 0x1021, 0xffff, 0), // the one of profile 5
	{Name: "sum8", Bits: 8, step: func(sum uint16, data byte) uint16 { return (sum + uint16(data)) & 0xff }},
	{Name: "xor8", Bits: 8, step: func(sum uint16, data byte) uint16 { return sum ^ uint16(data) }},
}

// Names lists the algorithms there are.
func Names() (names []string) {
	for i := range algorithms {
		names = append(names, algorithms[i].Name)
	}
	return names
}

// Find gives the algorithm of a name.
func Find(name string) (a Algorithm, found bool) {
	i := slices.IndexFunc(algorithms, func(a Algorithm) bool { return a.Name == name })
	if i < 0 {
		return a, false
	}
	return algorithms[i], true
}

// Begin gives the sum before the first byte.
func (a *Algorithm) Begin() uint16 { return a.initial }

// Add takes bytes into a sum.
func (a *Algorithm) Add(sum uint16, data []byte) uint16 {
	for _, b := range data {
		switch {
		case a.table == nil:
			sum = a.step(sum, b)
		case a.Bits == 8:
			sum = a.table[byte(sum)^b]
		default:
			sum = sum<<8 ^ a.table[byte(sum>>8)^b]
		}
	}
	return sum
}

// End gives the checksum of what was added.
func (a *Algorithm) End(sum uint16) uint16 { return sum ^ a.invert }

func cyclic(name string, bits int, polynomial, initial, invert uint16) Algorithm {
	a := Algorithm{Name: name, Bits: bits, table: new([256]uint16), initial: initial, invert: invert}
	top, mask := uint16(1)<<(bits-1), uint16(1<<bits-1)
	for b := range a.table {
		sum := uint16(b) << (bits - 8)
		for range 8 {
			carry := sum & top
			sum = sum << 1 & mask
			if carry != 0 {
				sum ^= polynomial
			}
		}
		a.table[b] = sum
	}
	return a
}
