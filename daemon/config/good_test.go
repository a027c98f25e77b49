package config

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/google/go-cmp/cmp"
)

func mustParse(t *testing.T, path string) *Config {
	t.Helper()
	c, err := Parse(text(t, path), path, "/etc/pack")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestGoodFiles holds what each file is read as, defaults included, against the .txt beside it.
func TestGoodFiles(t *testing.T) {
	for _, path := range files(t, "good/*.yaml") {
		t.Run(filepath.Base(path), func(t *testing.T) {
			read, err := yaml.Marshal(mustParse(t, path))
			if err != nil {
				t.Fatal(err)
			}
			golden(t, strings.TrimSuffix(path, ".yaml")+".txt", string(read))
		})
	}
}

// TestFullFileIsFull: full.yaml says each key that there is, so the tests that go through its keys leave none out.
func TestFullFileIsFull(t *testing.T) {
	seen := map[string]bool{}
	root, faults := readDocument(text(t, cases+"/good/full.yaml"))
	if faults != nil {
		t.Fatal(faults)
	}
	var visit func(n *node)
	visit = func(n *node) {
		for _, p := range n.pairs {
			seen[p.key] = true
			visit(p.value)
		}
		for _, entry := range n.items {
			visit(entry)
		}
	}
	visit(root)
	for _, f := range schemaKeys(reflect.TypeFor[Config]()) {
		if !seen[f.key] {
			t.Errorf("key %s is not in full.yaml", f.key)
		}
	}
}

// TestSettingsKeepTheirTypes: a plugin gets whole numbers, numbers, flags and texts as they were written.
func TestSettingsKeepTheirTypes(t *testing.T) {
	got := mustParse(t, cases+"/good/full.yaml").Devices[0].With
	want := map[string]any{"file": "testdata/recordings/pack.csv", "speed": int64(1), "loop": false, "serial": "00123",
		"columns": []any{"shunt_code", int64(0x40), 2.5}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// TestNumbersNameTheirUnit: a number's key ends in a unit, or the number has none and is listed here.
func TestNumbersNameTheirUnit(t *testing.T) {
	units := []string{"_amperes", "_ohms", "_millivolts", "_volts", "_seconds", "_celsius", "_kelvin", "_kelvin_2", "_ratio", "_per_count",
		"_per_ampere", "_per_watt", "_coulombs", "_ampere_hours", "_megabytes", "_days", "_count"}
	bare := map[string]bool{"megabytes": true, "bits": true, "gain": true, "primary_turns": true, "scans": true, "summary_scans": true,
		"time_multiplier": true}
	for _, f := range schemaKeys(reflect.TypeFor[Config]()) {
		unit := false
		for _, u := range units {
			unit = unit || strings.HasSuffix(f.key, u)
		}
		if f.number && !unit && !bare[f.key] {
			t.Errorf("%s does not name its unit", f.key)
		}
	}
}

// TestChecksAreKnown: a misspelled word in a check tag would check nothing.
func TestChecksAreKnown(t *testing.T) {
	for _, f := range schemaKeys(reflect.TypeFor[Config]()) {
		for _, c := range f.checks {
			_, rule := rules[c]
			if !rule && c != "" && c != "required" && c != "free" && !strings.Contains(c, "|") {
				t.Errorf("%s: check %q is not known", f.key, c)
			}
			if rule && !f.number {
				t.Errorf("%s: check %q is for numbers", f.key, c)
			}
		}
	}
}

type schemaKey struct {
	field
	number bool
}

// schemaKeys lists all keys of a struct and of those below it.
func schemaKeys(t reflect.Type) []schemaKey {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct {
		return nil
	}
	var all []schemaKey
	for _, f := range fieldsOf(t) {
		inner := t.FieldByIndex(f.index).Type
		if inner.Kind() == reflect.Pointer {
			inner = inner.Elem()
		}
		all = append(all, schemaKey{f, inner.Kind() == reflect.Float64 || inner.Kind() == reflect.Int})
		all = append(all, schemaKeys(inner)...)
	}
	return all
}

func TestLoad(t *testing.T) {
	folder := t.TempDir()
	write := func(name, text string, mode os.FileMode) string {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, []byte(text), mode); err != nil {
			t.Fatal(err)
		}
		return path
	}
	plugin := func(file string) string {
		return "state: ./state\ndevices:\n  - name: a\n    driver: {path: " + file + ", sha256: " + strings.Repeat("0f", 32) + "}\n" +
			"conductors: [{name: c, channels: [{name: m, device: a, input: i, reported: {}}]}]\n"
	}
	write("runs", "", 0o755)
	write("lies", "", 0o644)
	table := []struct{ name, text, want string }{
		{"right", plugin("./runs"), ""},
		{"not there", plugin("./far"), `pack.yaml:4:20: devices[0].driver.path: "./far": there is no such file`},
		{"not executable", plugin("lies"), `pack.yaml:4:20: devices[0].driver.path: "lies": the file is not executable: chmod +x it`},
		{"a folder", plugin("."), `pack.yaml:4:20: devices[0].driver.path: ".": this is not a file`},
		{"too long", plugin("./runs") + strings.Repeat("#\n", largestFile/2), `pack.yaml: the file is longer than 1048576 bytes: it is hardly a configuration`},
	}
	for _, row := range table {
		t.Run(row.name, func(t *testing.T) {
			path := write("pack.yaml", row.text, 0o644)
			c, err := Load(path)
			switch {
			case row.want == "" && err != nil:
				t.Fatal(err)
			case row.want == "":
				got := []string{c.Folder, c.State, c.Listen.Unix, c.Devices[0].Driver.Path}
				want := []string{folder, folder + "/state", folder + "/state/ampledger.sock", folder + "/runs"}
				if diff := cmp.Diff(want, got); diff != "" {
					t.Error(diff)
				}
			case err == nil || strings.TrimPrefix(err.Error(), folder+"/") != row.want:
				t.Errorf("got  %v\nwant %s", err, row.want)
			}
		})
	}
	if _, err := Load(filepath.Join(folder, "nothing.yaml")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a file that is not there: %v", err)
	}
}
