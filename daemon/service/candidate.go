package service

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/structpb"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/pluginhost"
)

// candidacy is how a request names an estimator.
type candidacy interface {
	GetPlugin() string
	GetExecutable() string
	GetSha256() string
	GetPlaintext() bool
	GetSettings() *structpb.Struct
}

// Not to reach out of the folder, nor to hide in it.
var executableName = regexp.MustCompile(`^[A-Za-z0-9_-][A-Za-z0-9_.-]{0,99}$`)

// candidate is the estimator that a request names: a shipped one, or an executable in the folder of candidates.
func (s *estimatorServer) candidate(r candidacy) (pipeline.Candidate, error) {
	settings := r.GetSettings().AsMap()
	switch name := r.GetExecutable(); {
	case name == "" && (r.GetSha256() != "" || r.GetPlaintext()):
		return pipeline.Candidate{}, refuse(codes.InvalidArgument, "executable", "PLUGIN_UNKNOWN", "sha256 and plaintext go with executable")
	case name == "":
		return s.shippedCandidate(r.GetPlugin(), settings)
	case r.GetPlugin() != "":
		return pipeline.Candidate{}, refuse(codes.InvalidArgument, "executable", "SEVERAL_WAYS", "give plugin or executable, not both")
	case s.backend.Candidates == "":
		return pipeline.Candidate{}, refuse(codes.FailedPrecondition, "", "NO_CANDIDATES",
			"no folder is configured from which executables may be started: write candidates: FOLDER into the configuration")
	case !executableName.MatchString(name):
		return pipeline.Candidate{}, refuse(codes.InvalidArgument, "executable", "NAME_INVALID",
			quote(name)+" is not the name of a file in the folder of candidates: letters, digits, -, _ and ., at most 100")
	case othersMayWrite(s.backend.Candidates):
		return pipeline.Candidate{}, refuse(codes.FailedPrecondition, "", "CANDIDATES_OPEN",
			"others than its owner may write to the folder of candidates, "+s.backend.Candidates+", and change a file between its check and its start: chmod go-w")
	case !isThere(filepath.Join(s.backend.Candidates, name)):
		return pipeline.Candidate{}, refuse(codes.NotFound, "", "EXECUTABLE_MISSING",
			"there is no file "+quote(name)+" in the daemon's folder of candidates, "+s.backend.Candidates+": copy it there")
	default:
		program := pluginhost.Program{Path: filepath.Join(s.backend.Candidates, name), SHA256: r.GetSha256(), Plaintext: r.GetPlaintext()}
		return pipeline.Candidate{Program: program, Settings: settings}, nil
	}
}

func othersMayWrite(folder string) bool {
	info, err := os.Stat(folder)
	return err == nil && info.Mode().Perm()&0o022 != 0
}

func isThere(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

func (s *estimatorServer) shippedCandidate(plugin string, settings map[string]any) (pipeline.Candidate, error) {
	if !slices.Contains(s.backend.Estimators, plugin) {
		return pipeline.Candidate{}, refuse(codes.InvalidArgument, "plugin", "PLUGIN_UNKNOWN",
			"there is no estimator "+quote(plugin)+"; shipped are "+strings.Join(s.backend.Estimators, ", "))
	}
	return pipeline.Candidate{Program: pluginhost.Program{Shipped: plugin}, Settings: settings}, nil
}
