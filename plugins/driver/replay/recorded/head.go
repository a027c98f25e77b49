package recorded

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"google.golang.org/protobuf/encoding/protojson"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// Key is the name under which a recording's metadata holds the text of its Head.
const Key = "ampledger.recording"

// Version of the form that this package describes.
const Version = 1

// Ending is that of a complete recording's file name; one that is being written, or was when its daemon was killed, has OpenEnding.
const (
	Ending     = ".parquet"
	OpenEnding = ".parquet.part"
)

// The columns every recording has, in their order.
const (
	Sequence    = "scan_sequence"
	Monotonic   = "scan_monotonic_nanos"
	Wall        = "scan_wall_nanos"
	Epoch       = "scan_epoch"
	Flags       = "scan_flags"
	Uncertainty = "scan_time_uncertainty_nanos"
)

// Own lists these columns; the inputs' follow.
var Own = [...]string{Sequence, Monotonic, Wall, Epoch, Flags, Uncertainty}

// OwnAtLeast is how many of them a recording has at least: the first ones had no uncertainty.
const OwnAtLeast = len(Own) - 1

// Head says what is recorded.
type Head struct {
	Device      string              // its name in the configuration
	Description *plugin.Description // what the driver said of it
}

type headText struct {
	Version     int             `json:"version"`
	Device      string          `json:"device"`
	Description json.RawMessage `json:"description"`
}

// Text gives the head as JSON, or an error if there are no inputs or one of them has the name of another column.
func (h *Head) Text() (string, error) {
	if err := h.check(); err != nil {
		return "", err
	}
	description, err := protojson.Marshal(h.Description)
	if err != nil {
		return "", err
	}
	text, err := json.Marshal(headText{Version, h.Device, description})
	return string(text), err
}

// ParseHead reads what Text gave. Fields it does not know are passed over: they can only add.
func ParseHead(text string) (*Head, error) {
	var read headText
	if err := json.Unmarshal([]byte(text), &read); err != nil {
		return nil, fmt.Errorf("metadata %q: %w", Key, err)
	}
	if read.Version != Version {
		return nil, fmt.Errorf("metadata %q: the form has version %d, this program reads %d", Key, read.Version, Version)
	}
	h := &Head{read.Device, new(plugin.Description)}
	if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal(read.Description, h.Description); err != nil {
		return nil, fmt.Errorf("metadata %q: %w", Key, err)
	}
	if err := h.check(); err != nil {
		return nil, fmt.Errorf("metadata %q: %w", Key, err)
	}
	return h, nil
}

func (h *Head) check() error {
	if len(h.Description.GetInputs()) == 0 {
		return errors.New("describes no input")
	}
	seen := Own[:]
	for _, input := range h.Description.GetInputs() {
		if input.GetName() == "" {
			return errors.New("describes an input without a name")
		}
		if slices.Contains(seen, input.GetName()) {
			return fmt.Errorf("the input %q has the name of another column", input.GetName())
		}
		seen = append(seen, input.GetName())
	}
	return nil
}
