package config

import (
	"reflect"
	"strings"
	"testing"
)

// Every key of the schema is listed once, with what it means; a comment of one key is never given to another.
func TestEveryKeyIsExplained(t *testing.T) {
	keys, seen := Keys(), map[string]bool{}
	for _, k := range keys {
		if k.Meaning == "" || strings.Contains(k.Meaning, "\n") {
			t.Errorf("%s: %q says nothing, or is no line", k.Path, k.Meaning)
		}
		if seen[k.Path] {
			t.Errorf("%s is listed twice", k.Path)
		}
		seen[k.Path] = true
	}
	if want := len(schemaKeys(reflect.TypeFor[Config]())); len(keys) != want {
		t.Errorf("%d keys are explained, the schema has %d", len(keys), want)
	}
	for path, want := range map[string]string{
		"state": "folder of the database", "ledger": "Ledger says how often", "devices[].driver.sha256": "checksum", "conductors[].channels[].shunt.bits": "resolution",
		"conductors[].channels[].magnetic.supply.nominal_volts": "supply", "conductors[].guard[].definite_time.delay_seconds": "above the pickup",
	} {
		found := false
		for _, k := range keys {
			found = found || k.Path == path && strings.Contains(k.Meaning, want)
		}
		if !found {
			t.Errorf("%s is not explained by %q", path, want)
		}
	}
}

// Each figure of a sensor says where a data sheet, a printed plate or a measurement has it.
func TestFiguresOfSensorsNameTheirSource(t *testing.T) {
	for _, k := range Keys() {
		number := strings.ContainsAny(k.Path, "_") && (strings.Contains(k.Path, ".shunt.") || strings.Contains(k.Path, ".magnetic.") || strings.Contains(k.Path, ".reported.") ||
			strings.Contains(k.Path, ".data_sheet.") ||
			strings.HasSuffix(k.Path, "noise_amperes") || strings.HasSuffix(k.Path, "zero_uncertainty_amperes") || strings.HasSuffix(k.Path, "gain_uncertainty_ratio"))
		if leaf := k.Path[strings.LastIndexByte(k.Path, '.')+1:]; !number || leaf == "data_sheet" || leaf == "self_heating" {
			continue
		}
		if !strings.Contains(k.Meaning, "sheet:") && !strings.Contains(k.Meaning, "printed") && !strings.Contains(k.Meaning, "measure") &&
			!strings.Contains(k.Meaning, "mounting") {
			t.Errorf("%s: %q names no source", k.Path, k.Meaning)
		}
	}
}
