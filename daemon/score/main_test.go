package score_test

import (
	"os"
	"path/filepath"
	"testing"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/daemontest"
	"github.com/ampledger/ampledger/daemon/score"
)

func TestMain(m *testing.M) { daemontest.Main(m) }

func options(t *testing.T) *daemon.Options { return daemontest.Options(t, zap.NewNop()) }

func load(t testing.TB, text string) *config.Config {
	t.Helper()
	file := filepath.Join(t.TempDir(), "pack.yaml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := config.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func planned(t *testing.T, s score.Settings) *score.Plan {
	t.Helper()
	p, err := score.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func seeded(t *testing.T, s score.Settings) *score.Seeded {
	t.Helper()
	of, err := planned(t, s).Seeded(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return of
}

// find gives the score of a way to find the offset, on the first channel.
func find(t *testing.T, r *score.Run, estimator string) score.Score {
	t.Helper()
	for _, s := range r.Scores {
		if s.Estimator == estimator {
			return s
		}
	}
	t.Fatalf("nothing is scored by %s", estimator)
	return score.Score{}
}
