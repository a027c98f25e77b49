package can

import (
	"strings"

	"github.com/ampledger/ampledger/plugins/driver/can/bits"
	"github.com/ampledger/ampledger/plugins/driver/can/checksum"
	"github.com/ampledger/ampledger/plugins/driver/can/wire"
)

// How long a message may be silent before that is said, by default.
const (
	silentPeriods = 10
	silentNanos   = 5e9 // where there is no period
)

// check adds a message and its signals to the plan.
func (s *messageSettings) check(f faults, p *plan) {
	m := message{bytes: wire.MaxClassicBytes, silentNanos: silentNanos}
	s.checkIdentifier(f, p, &m)
	if s.Bytes != nil {
		m.bytes = *s.Bytes
	}
	if m.bytes < 1 || wire.CheckLength(m.bytes) != nil {
		f.refuse("bytes", "%d is not the length of a message, which is 1 to 8, or with CAN FD 12, 16, 20, 24, 32, 48 or 64", m.bytes)
		return
	}
	m.periodNanos = nanosOf(f, "period_seconds", s.PeriodSeconds)
	if m.periodNanos > 0 {
		m.silentNanos = silentPeriods * m.periodNanos
	}
	if nanos := nanosOf(f, "silent_seconds", s.SilentSeconds); nanos > 0 {
		m.silentNanos = nanos
	}
	var taken claims
	s.checkMultiplexer(f, &m, &taken)
	s.checkCounter(f, &m, &taken)
	s.checkChecksum(f, &m, &taken)
	if len(s.Signals) == 0 {
		f.refuse("signals", "missing, a message without any gives nothing")
	}
	for i := range s.Signals {
		s.Signals[i].check(f.below("signals[%d]", i), s, p, &m, &taken)
	}
	p.messages = append(p.messages, m)
}

func (s *messageSettings) checkIdentifier(f faults, p *plan, m *message) {
	most := int64(wire.MaxID)
	if s.Extended {
		most = wire.MaxExtendedID
	}
	switch {
	case s.Identifier == nil:
		f.refuse("identifier", "missing")
		return
	case *s.Identifier < 0 || *s.Identifier > wire.MaxExtendedID:
		f.refuse("identifier", "0x%X is no identifier, which has 11 bits, or 29 if extended", *s.Identifier)
		return
	case *s.Identifier > most:
		f.refuse("identifier", "0x%X has more than 11 bits, add extended: true", *s.Identifier)
		return
	}
	key := keyOf(uint32(*s.Identifier), s.Extended)
	m.name = wire.Name(uint32(*s.Identifier), s.Extended)
	if _, found := p.byKey[key]; found {
		f.refuse("identifier", "%s is described before, put its signals together", m.name)
	}
	m.key = key
	p.byKey[key] = len(p.messages)
}

func (s *messageSettings) checkMultiplexer(f faults, m *message, taken *claims) {
	if s.Multiplexer == nil {
		return
	}
	f = f.below("multiplexer")
	field, ok := s.Multiplexer.check(f, s.ByteOrder, m.bytes)
	if !ok {
		return
	}
	if field.Length > 32 {
		f.refuse("length", "%d bits are more than the 32 that a multiplexer may have", field.Length)
	}
	taken.add(f, "the multiplexer", field, nil)
	m.multiplexer = &field
}

func (s *messageSettings) checkCounter(f faults, m *message, taken *claims) {
	if s.Counter == nil {
		return
	}
	f = f.below("counter")
	field, ok := s.Counter.check(f, s.ByteOrder, m.bytes)
	if !ok {
		return
	}
	if field.Length < 2 || field.Length > 32 {
		f.refuse("length", "%d bits are not within the 2 to 32 that a counter may have", field.Length)
		return
	}
	taken.add(f, "the counter", field, nil)
	values := int64(1) << field.Length
	if g := s.Counter.Greatest; g != nil {
		if *g < 2 || *g >= values {
			f.refuse("greatest", "%d is not within 2 to %d, the greatest number in %d bits", *g, values-1, field.Length)
			return
		}
		values = *g + 1
	}
	m.counter = &counter{field, values}
}

func (s *messageSettings) checkChecksum(f faults, m *message, taken *claims) {
	from := s.Checksum
	if from == nil {
		return
	}
	f = f.below("checksum")
	algorithm, found := checksum.Find(from.Algorithm)
	if !found {
		f.refuse("algorithm", "%q is none of %s", from.Algorithm, strings.Join(checksum.Names(), ", "))
	}
	sum := &sum{algorithm: algorithm, last: m.bytes - 1}
	from.checkRange(f, m.bytes, sum)
	sum.before, sum.after = octets(f, "before", from.Before), octets(f, "after", from.After)
	field, ok := from.check(f, s.ByteOrder, m.bytes)
	if !ok || !found {
		return
	}
	if field.Length != algorithm.Bits {
		f.refuse("length", "%d bits, where %s has %d", field.Length, algorithm.Name, algorithm.Bits)
		return
	}
	taken.add(f, "the checksum", field, nil)
	sum.field = field
	if !sum.leaveOut() {
		f.refuse("start_bit", "the checksum does not fill whole bytes, so it is not clear which of them are summed")
		return
	}
	m.sum = sum
}

func (s *checksumSettings) checkRange(f faults, bytes int, sum *sum) {
	for _, c := range []struct {
		key   string
		value *int
		to    *int
	}{{"first_byte", s.FirstByte, &sum.first}, {"last_byte", s.LastByte, &sum.last}} {
		if c.value == nil {
			continue
		}
		*c.to = *c.value
		if *c.value < 0 || *c.value >= bytes {
			f.refuse(c.key, "%d is not within 0 to %d, the bytes of the message", *c.value, bytes-1)
		}
	}
	if sum.first > sum.last {
		f.refuse("first_byte", "%d comes after last_byte, %d", sum.first, sum.last)
	}
}

// octets converts bytes that are summed though the message does not have them.
func octets(f faults, key string, from []int) (to []byte) {
	if len(from) > bits.MaxBytes {
		f.refuse(key, "there are %d, %d at the most", len(from), bits.MaxBytes)
		return nil
	}
	for i, value := range from {
		if value < 0 || value > 0xff {
			f.refuse(key, "value %d, %d, is no byte", i, value)
			return nil
		}
		to = append(to, byte(value))
	}
	return to
}
