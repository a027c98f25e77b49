package rig

import (
	"flag"
	"testing"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	if err := flag.Set("rapid.checks", "300"); err != nil { // unless the command line says more
		panic(err)
	}
	goleak.VerifyTestMain(m)
}
