package service

import (
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
	GetSettings() *structpb.Struct
}

// Not to reach out of the folder, nor to hide in it.
var executableName = regexp.MustCompile(`^[A-Za-z0-9_-][A-Za-z0-9_.-]{0,99}$`)

// candidate is the estimator that a request names: a shipped one, or an executable in the folder of candidates.
func (s *estimatorServer) candidate(r candidacy) (pipeline.Candidate, error) {
	settings := r.GetSettings().AsMap()
	switch name := r.GetExecutable(); {
	case name == "" && r.GetSha256() != "":
		return pipeline.Candidate{}, refuse(codes.InvalidArgument, "sha256", "PLUGIN_UNKNOWN", "sha256 goes with executable")
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
	default:
		program := pluginhost.Program{Path: filepath.Join(s.backend.Candidates, name), SHA256: r.GetSha256()}
		return pipeline.Candidate{Program: program, Settings: settings}, nil
	}
}

func (s *estimatorServer) shippedCandidate(plugin string, settings map[string]any) (pipeline.Candidate, error) {
	if !slices.Contains(s.backend.Estimators, plugin) {
		return pipeline.Candidate{}, refuse(codes.InvalidArgument, "plugin", "PLUGIN_UNKNOWN",
			"there is no estimator "+quote(plugin)+"; shipped are "+strings.Join(s.backend.Estimators, ", "))
	}
	return pipeline.Candidate{Program: pluginhost.Program{Shipped: plugin}, Settings: settings}, nil
}
