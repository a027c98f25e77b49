// Package servicetest puts the services up for tests: over real conductors that are fed by hand, with a real store behind a real recorder
// and estimators that run in the test's own process.
//
// There are two conductors. "pack" has the channels "shunt" and "hall", both on the device "adc0"; its guard raises "high" on the shunt
// from 100 A on. "string" has "left" on adc0 and "right" on "adc1". Every input gives amperes, ten scans a second, ten scans a summary.
// Reading n of a device is n amperes unless the test says otherwise.
package servicetest
