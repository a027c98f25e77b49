package recording

import (
	"fmt"
	"os"
	"testing"

	"go.uber.org/goleak"
)

// TestMain lets the test binary be the child that is killed; else it checks that no goroutine is left.
func TestMain(m *testing.M) {
	if folder := os.Getenv(childVariable); folder != "" {
		fmt.Fprintln(os.Stderr, child(folder))
		os.Exit(1)
	}
	goleak.VerifyTestMain(m)
}
