package serve

import (
	"bytes"
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/daemon/config"
)

// Whoever has only a data sheet finds for each key which line of it is meant; programs get the same list.
func TestCheckExplain(t *testing.T) {
	run := func(args ...string) string {
		var stdout, stderr bytes.Buffer
		if status := cli.Run(t.Context(), Command(), append([]string{"check", "--explain"}, args...), &stdout, &stderr); status != 0 {
			t.Fatalf("status %d: %s", status, stderr.String())
		}
		return stdout.String()
	}
	text := run()
	for _, want := range []string{
		"conductors[].channels[].magnetic.volts_per_ampere\n    required: of primary current, one turn; sheet: sensitivity",
		"conductors[].channels[].shunt.rated_millivolts\n    printed on the shunt: rated drop",
		"conductors[].channels[].data_sheet.hysteresis_amperes\n    sheet: magnetic offset",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q", want)
		}
	}
	if lines := strings.Count(text, "\n"); lines != 2*len(config.Keys()) {
		t.Errorf("%d lines for %d keys", lines, len(config.Keys()))
	}
	var keys []config.Key
	if err := json.Unmarshal([]byte(run("--json")), &keys); err != nil || !reflect.DeepEqual(keys, config.Keys()) {
		t.Errorf("%d keys as JSON, %v", len(keys), err)
	}
}
