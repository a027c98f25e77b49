package wire

import "fmt"

// parse reads the frame of a line.
func (f *Frame) parse(s *scanner) error {
	if err := f.parseID(s); err != nil {
		return err
	}
	switch {
	case !s.take('#'):
		return s.fault("# should follow the identifier")
	case s.take('#'):
		return f.parseFlexible(s)
	case s.take('R'):
		f.Remote = true
		return f.parseRemote(s)
	}
	if err := f.parseData(s, MaxClassicBytes); err != nil {
		return err
	}
	return f.parseCode(s)
}

func (f *Frame) parseID(s *scanner) error {
	from, id := s.at, uint32(0)
	for s.at < len(s.text) && s.at-from < 9 {
		digit, ok := hexadecimal(s.text[s.at])
		if !ok {
			break
		}
		id, s.at = id<<4|uint32(digit), s.at+1
	}
	digits := s.at - from
	s.at = from
	switch {
	case digits != 3 && digits != 8:
		return s.fault("an identifier has 3 hexadecimal digits (11 bits) or 8 (29 bits), this has %d", digits)
	case digits == 3 && id > MaxID:
		return s.fault("the identifier 0x%X has more than 11 bits", id)
	case digits == 8 && id>>29 > 1:
		return s.fault("the identifier 0x%X has more than 29 bits", id)
	}
	f.Error = id>>29 == 1
	f.Extended = digits == 8 && !f.Error
	f.ID = id & MaxExtendedID
	s.at += digits
	return nil
}

func (f *Frame) parseFlexible(s *scanner) error {
	if s.at == len(s.text) {
		return s.fault("a digit of flags should follow ##")
	}
	flags, ok := hexadecimal(s.text[s.at])
	if !ok {
		return s.fault("%q is no digit of flags", s.text[s.at])
	}
	s.at++
	f.FD, f.Flags = true, flags
	from := s.at
	if err := f.parseData(s, MaxBytes); err != nil {
		return err
	}
	if err := CheckLength(int(f.Length)); err != nil {
		return &Fault{Column: from + 1, Err: err}
	}
	return nil
}

func (f *Frame) parseData(s *scanner, most int) error {
	for s.at < len(s.text) {
		dotted := f.Length > 0 && s.take('.')
		high, ok := s.digit(0)
		switch {
		case !ok && dotted:
			return s.fault("a byte of data should follow the point")
		case !ok:
			return nil
		}
		low, ok := s.digit(1)
		switch {
		case !ok:
			return s.fault("a byte of data has two hexadecimal digits")
		case int(f.Length) == most:
			return s.fault("more than %d bytes of data", most)
		}
		f.Data[f.Length] = high<<4 | low
		f.Length++
		s.at += 2
	}
	return nil
}

// digit gives the hexadecimal digit so many bytes ahead.
func (s *scanner) digit(ahead int) (value byte, ok bool) {
	if s.at+ahead >= len(s.text) {
		return 0, false
	}
	return hexadecimal(s.text[s.at+ahead])
}

func (f *Frame) parseRemote(s *scanner) error {
	if length, ok := s.digit(0); ok {
		if length > MaxClassicBytes {
			return s.fault("a remote frame asks for 0 to %d bytes", MaxClassicBytes)
		}
		f.Length, s.at = length, s.at+1
	}
	return f.parseCode(s)
}

func (f *Frame) parseCode(s *scanner) error {
	if !s.take('_') {
		return nil
	}
	code, ok := s.digit(0)
	if !ok || code <= MaxClassicBytes || f.Length != MaxClassicBytes {
		return s.fault("a raw length code is 9 to F and follows 8 bytes")
	}
	f.Code, s.at = code, s.at+1
	return nil
}

func (f *Frame) append(to []byte) []byte {
	switch {
	case f.Error:
		to = fmt.Appendf(to, "%08X#", f.ID|errorBit)
	case f.Extended:
		to = fmt.Appendf(to, "%08X#", f.ID)
	default:
		to = fmt.Appendf(to, "%03X#", f.ID)
	}
	switch {
	case f.FD:
		to = fmt.Appendf(to, "#%X", f.Flags)
	case f.Remote && f.Length > 0:
		to = fmt.Appendf(to, "R%d", f.Length)
	case f.Remote:
		to = append(to, 'R')
	}
	to = fmt.Appendf(to, "%X", f.Payload())
	if f.Code > 0 {
		to = fmt.Appendf(to, "_%X", f.Code)
	}
	return to
}

func hexadecimal(c byte) (value byte, ok bool) {
	switch {
	case '0' <= c && c <= '9':
		return c - '0', true
	case 'A' <= c && c <= 'F':
		return c - 'A' + 10, true
	case 'a' <= c && c <= 'f':
		return c - 'a' + 10, true
	}
	return 0, false
}
