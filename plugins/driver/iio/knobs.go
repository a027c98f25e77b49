package iio

import "errors"

// knobs remember what was set in sysfs, to set it back.
type knobs []knob

type knob struct {
	in                folder
	attribute, before string
}

// note remembers what an attribute holds.
func (k *knobs) note(in folder, attribute string) (before string, err error) {
	before, err = in.text(attribute)
	if err == nil {
		*k = append(*k, knob{in, attribute, before})
	}
	return before, err
}

// set remembers what an attribute holds and writes it, if it is not the same.
func (k *knobs) set(in folder, attribute, text string) error {
	before, err := k.note(in, attribute)
	if err != nil || before == text {
		return err
	}
	return in.write(attribute, text)
}

// restore sets everything back, the last first, and goes on where one fails.
func (k *knobs) restore() error {
	var faults []error
	for i := len(*k) - 1; i >= 0; i-- {
		faults = append(faults, (*k)[i].restore())
	}
	*k = nil
	return errors.Join(faults...)
}

func (k *knob) restore() error {
	now, err := k.in.text(k.attribute)
	if err != nil || now == k.before {
		return err
	}
	if k.before == "" {
		return k.in.write(k.attribute, "\n") // an empty write does not reach the attribute
	}
	return k.in.write(k.attribute, k.before)
}
