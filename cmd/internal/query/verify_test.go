package query

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/store"
)

// stateWith makes a state folder whose ledger holds so many entries and gives the end of its chain.
func stateWith(t *testing.T, entries int) (folder string, head store.Head) {
	t.Helper()
	folder = t.TempDir()
	s, err := store.Open(filepath.Join(folder, store.FileName))
	if err != nil {
		t.Fatal(err)
	}
	for n := range entries {
		posting := store.Posting{Entry: store.Entry{
			Conductor: "pack", Channel: "shunt", Kind: store.Interval, Device: "adc0", LastSequence: uint64(n), Totals: store.Totals{OutMicrocoulombs: 5},
		}}
		if _, err := s.Append(t.Context(), store.Batch{Postings: []store.Posting{posting}}); err != nil {
			t.Fatal(err)
		}
	}
	head, err = s.ChainHead(t.Context())
	if err = errors.Join(err, s.Close()); err != nil {
		t.Fatal(err)
	}
	return folder, head
}

// tamper does what somebody with the file could.
func tamper(t *testing.T, folder, query string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(folder, store.FileName))
	if err == nil {
		_, err = db.Exec("DROP TRIGGER entries_never_change; DROP TRIGGER entries_never_go; " + query)
		err = errors.Join(err, db.Close())
	}
	if err != nil {
		t.Fatal(err)
	}
}

// TestVerify verifies ledgers that are sound, tampered with, cut off, or none.
func TestVerify(t *testing.T) {
	sound, head := stateWith(t, 5)
	changed, _ := stateWith(t, 5)
	tamper(t, changed, "UPDATE entries SET out_microcoulombs = 4 WHERE entry_sequence IN (2, 4)")
	cut, _ := stateWith(t, 5)
	tamper(t, cut, "DELETE FROM entries WHERE entry_sequence = 5; UPDATE devices SET used_next = 4")
	torn, _ := stateWith(t, 5)
	if err := os.Truncate(filepath.Join(torn, store.FileName), 20_000); err != nil {
		t.Fatal(err)
	}
	for name, row := range map[string]struct {
		args   []string
		status int
		stdout string
		stderr string
	}{
		"sound":          {[]string{sound}, 0, "nothing is wrong\n5 entries, 0 events; the chain ends with " + head.String() + "\n", ""},
		"by its file":    {[]string{filepath.Join(sound, store.FileName), "--head", head.String()}, 0, "nothing is wrong\n", ""},
		"tampered with":  {[]string{changed}, 1, "entry 2: is not as it was chained: it, its gap rows or its place was changed, or it was put there\nentry 4: is not", "2 fault(s)"},
		"cut, in itself": {[]string{cut}, 0, "nothing is wrong\n4 entries", ""},
		"cut":            {[]string{cut, "--head", head.String()}, 1, "entry 5: is missing, and its chain was written down\n", "1 fault(s)"},
		"another head":   {[]string{sound, "--head", "4" + head.String()[1:]}, 1, "entry 4: has another chain than was written down", "1 fault(s)"},
		"torn":           {[]string{torn}, 1, "", ": open: damaged: database disk image is malformed"},
		"remedy":         {[]string{torn}, 1, "", "`ampledger recover " + filepath.Join(torn, store.FileName) + " OUT` saves what can be read"},
		"nothing":        {[]string{filepath.Join(sound, "none")}, 2, "", "no ledger there"},
		"default":        {nil, 2, "", "no ledger there: stat state"},
		"head is none":   {[]string{sound, "--head", "5"}, 2, "", `--head "5" is no SEQUENCE:SHA256`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Chdir(t.TempDir())
			stdout, stderr, status := run(t, append([]string{"charge", "--verify"}, row.args...)...)
			if status != row.status || !strings.HasPrefix(stdout, row.stdout) || !strings.Contains(stderr, row.stderr) || (stderr == "") != (row.stderr == "") {
				t.Errorf("status %d\n%s%s", status, stdout, stderr)
			}
		})
	}
	stdout, _, status := run(t, "charge", "--verify", changed, "--json")
	var got verificationJSON
	if err := json.Unmarshal([]byte(stdout), &got); err != nil || status != 1 || got.FaultCount != 2 || got.Faults[1].EntrySequence != 4 || got.Head.EntrySequence != 5 {
		t.Errorf("status %d, %v: %s", status, err, stdout)
	}
}

// TestVerifyWaveforms takes a frame of a waveform away: it fails, and says that the ledger does not.
func TestVerifyWaveforms(t *testing.T) {
	folder, head := stateWith(t, 5)
	path := filepath.Join(folder, store.FileName)
	tamper(t, folder, "INSERT INTO waveforms VALUES (1, 'a', 'pack', 'shunt', 'complete', '', 1, 10, 12, 0, 0, 0)")
	stdout, stderr, status := run(t, "charge", "--verify", folder)
	if status != 1 || stdout != "waveform of event a: its readings 10 to 12 are missing\n5 entries, 0 events; the chain ends with "+head.String()+"\n" ||
		!strings.HasSuffix(stderr, path+": 1 fault(s), all of waveforms: ledger and log are sound\n") {
		t.Errorf("status %d\n%s%s", status, stdout, stderr)
	}
	stdout, _, _ = run(t, "charge", "--verify", folder, "--json")
	var got verificationJSON
	if err := json.Unmarshal([]byte(stdout), &got); err != nil || got.FaultCount != 1 || got.OfWaveform != 1 || !got.Faults[0].Waveform || got.Faults[0].EventID != "a" {
		t.Errorf("%v: %s", err, stdout)
	}
}

// TestRecover saves a damaged ledger and verifies what came of it.
func TestRecover(t *testing.T) {
	folder, head := stateWith(t, 40)
	from, out := filepath.Join(folder, store.FileName), filepath.Join(folder, "out.sqlite")
	file, err := os.OpenFile(from, os.O_WRONLY, 0)
	if err == nil {
		_, err = file.Write(make([]byte, 100)) // over the header
		err = errors.Join(err, file.Close())
	}
	if err != nil {
		t.Fatal(err)
	}
	if _, stderr, status := run(t, "charge", "--verify", folder); status != 1 || !strings.Contains(stderr, "ampledger recover") {
		t.Errorf("status %d: %s", status, stderr)
	}
	stdout, stderr, status := run(t, "recover", from, out)
	if status != 0 || stderr != "" || !strings.HasPrefix(stdout, fmt.Sprintf("entries 1 to 40 are as they were chained; the chain ends with %v\n", head)) {
		t.Errorf("status %d\n%s%s", status, stdout, stderr)
	}
	if stdout, stderr, status := run(t, "charge", "--verify", out, "--head", head.String()); status != 0 {
		t.Errorf("status %d\n%s%s", status, stdout, stderr)
	}
	if _, stderr, status := run(t, "recover", from, out); status != 1 || !strings.Contains(stderr, "file already exists") {
		t.Errorf("over what is there: status %d, %s", status, stderr)
	}
	stdout, _, status = run(t, "recover", from, out+"2", "--json")
	var got recoveryJSON
	if err := json.Unmarshal([]byte(stdout), &got); err != nil || status != 0 || got.Head.EntrySequence != 40 || len(got.Lines) == 0 {
		t.Errorf("status %d, %v: %s", status, err, stdout)
	}
}
