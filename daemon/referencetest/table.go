// Package referencetest reads the tables of testdata for tests, however deep their packages stand, and holds figures against those printed.
package referencetest

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// Table reads a table, named by its path in testdata, by its column names.
func Table(t testing.TB, name string) []map[string]string {
	t.Helper()
	file, err := os.Open(filepath.Join(root(t), "testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var all []map[string]string
	for _, row := range rows[1:] {
		named := map[string]string{}
		for i, column := range rows[0] {
			named[column] = row[i]
		}
		all = append(all, named)
	}
	return all
}

// root finds the module's folder above the test's.
func root(t testing.TB) string {
	t.Helper()
	at, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(at, "go.mod")); err == nil {
			return at
		}
		if at == filepath.Dir(at) {
			t.Fatal("no go.mod above the test's folder")
		}
		at = filepath.Dir(at)
	}
}

// Number parses a figure of a table.
func Number(t testing.TB, text string) float64 {
	t.Helper()
	value, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return value
}

// Near fails the test if a figure is further from the one wanted than a part of it; NaN is near nothing.
func Near(t testing.TB, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s is %.17g, want %.17g to %.1g", what, got, want, relative)
	}
}
