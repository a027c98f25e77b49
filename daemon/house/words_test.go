package house_test

import (
	"bytes"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// Words that have no place in the repository, in pieces, so that this file may hold them.
var (
	strangers = regexp.MustCompile(`(?i)\b(trans` + `cripts?|seed` + ` documents?|lec` + `tures?|cour` + `sera|shared` + ` folder)\b` +
		`|\.\./sha` + `red\b|/work/` + `sha` + `red\b`)
	unfinished = regexp.MustCompile(`\b(TO` + `DO|FIX` + `ME)\b`)
)

const (
	whyStrangers  = "the repository stands on its own: it names nothing that whoever cloned it cannot see"
	whyUnfinished = "work left for later is an issue with a number or is done; a note in the code is neither"
)

// code lists the endings of files in which unfinished work is refused; a file without an ending is a script.
var code = []string{".go", ".proto", ".sql", ".py", ".sh", ".yaml", ".yml", ".mod", ".conf", ""}

func TestWords(t *testing.T) {
	from, err := root()
	if err != nil {
		t.Fatal(err)
	}
	files := tracked(t, from)
	if len(files) < 100 {
		t.Errorf("only %d files", len(files))
	}
	var strange, left []string
	for _, name := range files {
		text, err := os.ReadFile(filepath.Join(from, name))
		if err != nil {
			if os.IsNotExist(err) {
				continue // deleted, not yet committed
			}
			t.Fatal(err)
		}
		text = append([]byte(name+"\n"), text...) // a name can be as strange as a line
		if bytes.IndexByte(text, 0) >= 0 {
			continue
		}
		strange = append(strange, find(name, text, strangers)...)
		if slices.Contains(code, path.Ext(name)) {
			left = append(left, find(name, text, unfinished)...)
		}
	}
	report(t, strange, whyStrangers)
	report(t, left, whyUnfinished)
}

// tracked lists the files git tracks or would add; where the tree came without git, all of them.
func tracked(t *testing.T, from string) []string {
	t.Helper()
	list := exec.Command("git", "-c", "safe.directory=*", "ls-files", "-z", "--cached", "--others", "--exclude-standard")
	list.Dir = from
	if out, err := list.Output(); err == nil {
		return strings.Split(strings.TrimSuffix(string(out), "\x00"), "\x00")
	}
	if _, err := os.Stat(filepath.Join(from, ".git")); err == nil {
		t.Fatal("there is a .git, and git does not list its files")
	}
	var files []string
	err := fs.WalkDir(os.DirFS(from), ".", func(at string, entry fs.DirEntry, err error) error {
		if err == nil && !entry.IsDir() {
			files = append(files, at)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// stems are what the words above contain, in lower case: looking for them first passes over megabytes of recordings quickly.
var stems = []string{"trans" + "cript", "seed" + " document", "lec" + "ture", "cour" + "sera", "sha" + "red", "to" + "do", "fix" + "me"}

// find gives each place where a word stands; line 0 is the file's name.
func find(name string, text []byte, words *regexp.Regexp) []string {
	low := bytes.ToLower(text)
	if !slices.ContainsFunc(stems, func(stem string) bool { return bytes.Contains(low, []byte(stem)) }) {
		return nil
	}
	var faults []string
	for i, line := range bytes.Split(text, []byte("\n")) {
		if found := words.Find(line); found != nil {
			faults = append(faults, name+":"+strconv.Itoa(i)+": the word "+string(found))
		}
	}
	return faults
}

func TestWordsBite(t *testing.T) {
	for text, want := range map[string]int{
		"a Trans" + "cript of":          1,
		"the lec" + "tures":             1,
		"see ../sha" + "red/x":          1,
		"shared memory, prescripted":    0,
		"a seed, a document":            0,
		"../sha" + "red_ptr, no folder": 0,
	} {
		if got := find("x", []byte(text), strangers); len(got) != want {
			t.Errorf("%q: %v, want %d", text, got, want)
		}
	}
	if len(find("x", []byte("// TO"+"DO(me)"), unfinished)) != 1 || len(find("x", []byte("TO"+"DOS, to"+"do"), unfinished)) != 0 {
		t.Error("unfinished work is not told from other words")
	}
}
