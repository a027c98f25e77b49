package iio

// planPolled finds the attributes to read.
func (s *settings) planPolled(p *plan) error {
	if err := s.checkUpdates(p); err != nil {
		return err
	}
	names, err := channels(p.sysfs, s.class().polled)
	if err != nil {
		return err
	}
	picked, err := s.choose(p.sysfs, names)
	if err != nil {
		return err
	}
	for _, c := range picked {
		in, err := c.describe(c.input, nil)
		if err != nil {
			return err
		}
		p.inputs = append(p.inputs, in)
	}
	return nil
}
