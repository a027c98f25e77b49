package recording

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
)

// timeForm is a time in a name: UTC, without what a shell or a file system minds.
const timeForm = "20060102T150405Z"

// name is that of a file.
//
//	DEVICE_SEQUENCE_TIME.parquet    what is not a letter, a digit, "." or "-" in DEVICE is written as in a URL
//
// SEQUENCE, of its first scan, has as many digits as any may have, so that names of one device sort in time, whatever the clock did.
type name struct {
	device   string
	sequence int64
	time     time.Time // of the first scan, to the second
}

// String gives the name of the complete file.
func (n name) String() string {
	device := strings.ReplaceAll(url.QueryEscape(n.device), "_", "%5F")
	return fmt.Sprintf("%s_%019d_%s%s", device, n.sequence, n.time.UTC().Format(timeForm), recorded.Ending)
}

// parseName reads a name; false if a file of that name is no recording. open tells that it is not complete.
func parseName(text string) (n name, open, ok bool) {
	stem, open := strings.CutSuffix(text, recorded.OpenEnding)
	if !open {
		if stem, ok = strings.CutSuffix(text, recorded.Ending); !ok {
			return name{}, false, false
		}
	}
	parts := strings.Split(stem, "_")
	if len(parts) != 3 || len(parts[1]) != 19 {
		return name{}, false, false
	}
	device, deviceErr := url.QueryUnescape(parts[0])
	sequence, sequenceErr := strconv.ParseInt(parts[1], 10, 64)
	at, timeErr := time.Parse(timeForm, parts[2])
	return name{device, sequence, at}, open, deviceErr == nil && sequenceErr == nil && sequence >= 0 && timeErr == nil
}
