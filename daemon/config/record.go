package config

// fill puts in the defaults that do not hang on where the file stands.
func (r *Record) fill() {
	otherwise(&r.BudgetMegabytes, defaultBudget)
	otherwise(&r.FileMegabytes, defaultFile)
	otherwise(&r.FileSeconds, defaultFileSeconds)
	otherwise(&r.RowGroupSeconds, defaultRowGroup)
}

// record checks a recording: devices that there are, and figures that go together, with what is not said at its default.
func (k checker) record(c *Config) {
	if c.Record == nil {
		return
	}
	r := *c.Record
	for i, name := range r.Devices {
		k.refers(item("record.devices", i), name, k.devices, "is not a device")
	}
	r.fill()
	k.fits(r.BudgetMegabytes >= 2*r.FileMegabytes, "record.budget_megabytes", "must have room for two files of file_megabytes", "record.file_megabytes")
	k.fits(r.FileMegabytes >= 0.0625, "record.file_megabytes", "must be 0.0625 at least")
	k.fits(r.RowGroupSeconds >= 0.1 && r.RowGroupSeconds <= 3600, "record.row_group_seconds", "must be within 0.1 and 3600")
	k.fits(r.FileSeconds <= 86400, "record.file_seconds", "must be a day, 86400, at most")
	k.fits(r.FileSeconds >= r.RowGroupSeconds, "record.file_seconds", "must not be less than row_group_seconds", "record.row_group_seconds")
}

// fits gives a fault at the first of some keys that is written, unless all is well.
func (k checker) fits(well bool, at, text string, others ...string) {
	for _, path := range append([]string{at}, others...) {
		if !well && k.sound(path) {
			k.fault(k.values[path], at, text)
			return
		}
	}
}
