package daemon_test

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// recordsOf gives what is recorded of what estimators said, by role and run of the daemon.
func recordsOf(t *testing.T, s *served) map[string]int {
	t.Helper()
	from, to := int64(0), int64(math.MaxInt64)
	stream, err := s.Estimators.StreamEstimates(s.ctx, &ampledgerv1.StreamEstimatesRequest{Conductor: "pack", FromWallNanos: &from, ToWallNanos: &to})
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]int{}
	for {
		item, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return found
		}
		if err != nil {
			t.Fatal(err)
		}
		r := item.GetRecord()
		found[fmt.Sprintf("%s as %q in run %d", r.GetPlugin(), r.GetShadow(), r.GetOpeningSequence())]++
	}
}

// TestShadowsOutliveTheDaemon: a shadow of the configuration runs beside the estimator in force, what both say is recorded, and after a
// restart it goes on with what it knew; what was recorded before is still there.
func TestShadowsOutliveTheDaemon(t *testing.T) {
	text := simulated(60, "estimates: {interval_seconds: 10}")
	text = strings.Replace(text, "    guard:", "    shadows: [{name: mine, plugin: biasfilter}]\n    guard:", 1)
	c, _ := load(t, text)
	s := serve(t, c)
	follow(t, s)
	s.stop()
	second, _ := load(t, strings.Replace(text, "{seconds: 1, contactor_open: true}, ", "", 1)) // no rest: it can only know the zero from before
	second.State = c.State
	s = serve(t, second)
	follow(t, s)
	if u := shadowUncertainty(t, s); u > 0.2 {
		t.Errorf("the shadow knows the zero to %.3f A after the restart, and had learnt it before", u)
	}
	s.stop()
	s = serve(t, second)
	for s.ctx.Err() == nil {
		found := recordsOf(t, s)
		if found[`fixedzero as "" in run 1`] > 0 && found[`biasfilter as "mine" in run 1`] > 0 && found[`biasfilter as "mine" in run 2`] > 0 {
			return
		}
	}
	t.Errorf("recorded are %v", recordsOf(t, s))
}

// shadowUncertainty waits for the shadow's word on the magnetic channel.
func shadowUncertainty(t *testing.T, s *served) float64 {
	t.Helper()
	for s.ctx.Err() == nil {
		response, err := s.Estimators.ListEstimators(s.ctx, &ampledgerv1.ListEstimatorsRequest{})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range response.GetEstimators() {
			if e.GetShadow() == "mine" && len(e.GetEstimates()) > 0 {
				return e.GetEstimates()[0].GetStandardUncertaintyAmperes()
			}
		}
	}
	t.Fatal("the shadow gave no estimate")
	return 0
}

// TestACandidateOfOnesOwn is put in force from the folder of candidates; one that was changed since its checksum was taken is not started.
func TestACandidateOfOnesOwn(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c, folder := load(t, simulated(40, "candidates: mine"))
	script := []byte("#!/bin/sh\nexec '" + self + "' plugin estimator/fixedzero\n")
	if err := os.Mkdir(filepath.Join(folder, "mine"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, "mine", "held"), script, 0o700); err != nil {
		t.Fatal(err)
	}
	s := serve(t, c)
	sum := sha256.Sum256(script)
	request := &ampledgerv1.SwapEstimatorRequest{Conductor: "pack", Executable: "held", Sha256: hex.EncodeToString(sum[:])}
	var last *ampledgerv1.SwapEstimatorResponse
	followWith(t, s, func() {
		if last == nil {
			changed := &ampledgerv1.SwapEstimatorRequest{Conductor: "pack", Executable: "held", Sha256: strings.Repeat("0", 64)}
			if refused := swapWith(t, s, changed); refused.GetStep() != ampledgerv1.SwapStep_SWAP_STEP_FAILED || !strings.Contains(refused.GetReason(), "SHA-256 is not the configured one") {
				t.Errorf("with another checksum: %v", refused)
			}
			last = swapWith(t, s, request)
		}
	})
	if last.GetStep() != ampledgerv1.SwapStep_SWAP_STEP_SWAPPED {
		t.Errorf("swapped: %v", last)
	}
}
