package iio

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

// folder is a folder of attributes in sysfs.
type folder string

func (f folder) path(attribute string) string { return filepath.Join(string(f), attribute) }

func (f folder) has(attribute string) bool {
	_, err := os.Stat(f.path(attribute))
	return err == nil
}

// names lists the attributes, in order.
func (f folder) names() ([]string, error) {
	entries, err := os.ReadDir(string(f))
	if err != nil {
		return nil, explain(err)
	}
	names := make([]string, len(entries))
	for i, entry := range entries {
		names[i] = entry.Name()
	}
	return names, nil
}

// text reads an attribute, without the space around it.
func (f folder) text(attribute string) (string, error) {
	read, err := os.ReadFile(f.path(attribute))
	if err != nil {
		return "", explain(err)
	}
	return strings.TrimSpace(string(read)), nil
}

// optional is text, "" where there is no such attribute.
func (f folder) optional(attribute string) (string, error) {
	text, err := f.text(attribute)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	return text, err
}

// number reads an attribute that holds a finite number.
func (f folder) number(attribute string) (float64, error) {
	text, err := f.text(attribute)
	if err != nil {
		return 0, err
	}
	number, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(number, 0) || math.IsNaN(number) {
		return 0, fmt.Errorf("%s: %q is no number", f.path(attribute), text)
	}
	return number, nil
}

// write sets an attribute.
func (f folder) write(attribute, text string) error {
	file, err := os.OpenFile(f.path(attribute), os.O_WRONLY|os.O_TRUNC, 0)
	if err != nil {
		return explain(err)
	}
	_, err = file.WriteString(text)
	return explain(errors.Join(err, file.Close()))
}

// explain adds what to do to an error of a file that has a known cause.
func explain(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%w: give the user of the daemon the right to it, for instance with a udev rule", err)
	case vanished(err):
		return gone(err)
	case errors.Is(err, syscall.EBUSY):
		return fmt.Errorf("%w: another program uses the device, end it", err)
	case errors.Is(err, noData):
		return fmt.Errorf("%w: the sensor is switched off (the attribute _enable beside this one) or has not measured yet", err)
	}
	return err
}

func gone(err error) error {
	return fmt.Errorf("%w: the device has gone, see whether it is connected and its kernel driver loaded", err)
}

// vanished tells the errors that sysfs and the device file give once a device was removed.
func vanished(err error) bool { return errors.Is(err, syscall.ENODEV) || errors.Is(err, syscall.ENXIO) }

// noData is Linux' ENODATA, which not all systems have.
const noData = syscall.Errno(61)

// passing tells the errors of a reading that the next one need not have.
func passing(err error) bool {
	for _, errno := range []syscall.Errno{syscall.EBUSY, syscall.EAGAIN, syscall.EINTR, syscall.ETIMEDOUT, syscall.EIO, noData} {
		if errors.Is(err, errno) {
			return true
		}
	}
	return errors.Is(err, errFaulty)
}

// errFaulty is the word of a sensor's fault attribute.
var errFaulty = errors.New("the sensor says that its value is wrong")
