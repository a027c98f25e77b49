package iio

import (
	"io/fs"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

func TestFindsDevices(t *testing.T) {
	root := tree(t, map[string]string{
		"iio:device0/name": "adc", "iio:device3/name": "meter", "iio:device10/name": "adc", "iio:deviceX/name": "none", "trigger0/name": "adc",
	})
	sysfs := folder(filepath.Join(root, "sys"))
	for _, c := range []struct {
		choice choice
		want   int
		fault  string
	}{
		{choice{true, 3, ""}, 3, ""},
		{choice{true, 10, ""}, 10, ""},
		{choice{true, -1, "meter"}, 3, ""},
		{choice{}, 0, "missing, give the number of a device or its name"},
		{choice{true, 1, ""}, 0, `has no such device, there are [0 "adc" 3 "meter" 10 "adc"]`},
		{choice{true, -1, "mete"}, 0, `has no such device, there are [0 "adc" 3 "meter" 10 "adc"]`},
		{choice{true, -1, "adc"}, 0, `several devices have this name, give the number of one: [0 "adc" 10 "adc"]`},
	} {
		got, err := c.choice.find(sysfs, classes["iio"])
		if c.fault == "" && (err != nil || got.number != c.want) {
			t.Errorf("%+v: %v, %v", c.choice, got, err)
		}
		if c.fault != "" && (err == nil || !strings.Contains(err.Error(), c.fault)) {
			t.Errorf("%+v: %v, want %s", c.choice, err, c.fault)
		}
	}
}

func TestNoDevices(t *testing.T) {
	for folderName, want := range map[string]string{"": "has no device, see whether one is connected", "none": "this kernel has no industrial I/O"} {
		_, err := choice{true, 0, ""}.find(folder(filepath.Join(t.TempDir(), folderName)), classes["iio"])
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", folderName, err, want)
		}
	}
}

func TestErrorsSayWhatToDo(t *testing.T) {
	for errno, want := range map[syscall.Errno]string{
		syscall.EACCES: "open /dev/iio:device0: permission denied: give the user of the daemon the right to it, for instance with a udev rule",
		syscall.ENODEV: "open /dev/iio:device0: no such device: the device has gone, see whether it is connected and its kernel driver loaded",
		syscall.EBUSY:  "open /dev/iio:device0: device or resource busy: another program uses the device, end it",
		noData:         "open /dev/iio:device0: no data available: the sensor is switched off (the attribute _enable beside this one) or has not measured yet",
		syscall.EINVAL: "open /dev/iio:device0: invalid argument",
	} {
		if got := explain(&fs.PathError{Op: "open", Path: "/dev/iio:device0", Err: errno}); got.Error() != want {
			t.Errorf("%v, want %s", got, want)
		}
	}
	if explain(nil) != nil {
		t.Error("no error became one")
	}
}
