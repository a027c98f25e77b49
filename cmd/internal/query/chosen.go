package query

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/structpb"

	"github.com/ampledger/ampledger/cmd/internal/cli"
)

// chosenEstimator is an estimator as the command line names it: a shipped plugin, or an executable.
type chosenEstimator struct {
	with, executable string
	plugin           string
	name, sum        string // of the executable
	settings         *structpb.Struct
}

func (e *chosenEstimator) flags(c *cobra.Command) {
	c.Flags().StringVar(&e.with, "with", "{}", "its settings, as a JSON object")
	c.Flags().StringVar(&e.executable, "executable", "", "an executable of yours instead of a PLUGIN: its file, whose checksum is sent along; the daemon starts\n"+
		"the file of that name in its folder of candidates if it is the same")
}

// read takes the rest of the arguments; another says that the estimator is named otherwise. ways says how it can be, for the error.
func (e *chosenEstimator) read(args []string, another bool, ways string) (err error) {
	named := 0
	for _, is := range []bool{len(args) > 0, e.executable != "", another} {
		if is {
			named++
		}
	}
	if named != 1 {
		return cli.Usagef("give %s, one of them", ways)
	}
	if len(args) > 0 {
		e.plugin = args[0]
	}
	if e.settings, err = parseSettings(e.with); err != nil || e.executable == "" {
		return err
	}
	e.name = filepath.Base(e.executable)
	e.sum, err = checksum(e.executable)
	return err
}

func checksum(path string) (sum string, err error) {
	file, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	hash := sha256.New()
	if _, err := io.Copy(hash, file); err != nil {
		return "", err
	}
	return hex.EncodeToString(hash.Sum(nil)), nil
}

// parseSettings reads a plugin's settings off the command line.
func parseSettings(text string) (fields *structpb.Struct, err error) {
	var object map[string]any
	if err = json.Unmarshal([]byte(text), &object); err == nil {
		fields, err = structpb.NewStruct(object)
	}
	if err != nil {
		return nil, cli.Usagef("--with is no JSON object: %w", err)
	}
	return fields, nil
}
