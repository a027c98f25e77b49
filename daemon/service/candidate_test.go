package service_test

import (
	"strings"
	"testing"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/service/servicetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestExecutablesOfCallers: only a file in the configured folder may be started, by its name alone.
func TestExecutablesOfCallers(t *testing.T) {
	for name, c := range map[string]struct {
		folder        string
		request       *ampledgerv1.AddShadowRequest
		code          codes.Code
		reason, field string
	}{
		"no folder":        {"", &ampledgerv1.AddShadowRequest{Executable: "mine"}, codes.FailedPrecondition, "NO_CANDIDATES", ""},
		"a path":           {"/candidates", &ampledgerv1.AddShadowRequest{Executable: "../mine"}, codes.InvalidArgument, "NAME_INVALID", "executable"},
		"an absolute path": {"/candidates", &ampledgerv1.AddShadowRequest{Executable: "/bin/sh"}, codes.InvalidArgument, "NAME_INVALID", "executable"},
		"the folder":       {"/candidates", &ampledgerv1.AddShadowRequest{Executable: "."}, codes.InvalidArgument, "NAME_INVALID", "executable"},
		"a hidden file":    {"/candidates", &ampledgerv1.AddShadowRequest{Executable: ".mine"}, codes.InvalidArgument, "NAME_INVALID", "executable"},
		"far too long":     {"/candidates", &ampledgerv1.AddShadowRequest{Executable: strings.Repeat("a", 101)}, codes.InvalidArgument, "NAME_INVALID", "executable"},
		"two ways":         {"/candidates", &ampledgerv1.AddShadowRequest{Executable: "mine", Plugin: "fixed"}, codes.InvalidArgument, "SEVERAL_WAYS", "executable"},
		"a checksum alone": {"/candidates", &ampledgerv1.AddShadowRequest{Sha256: strings.Repeat("0", 64)}, codes.InvalidArgument, "PLUGIN_UNKNOWN", "sha256"},
		"nothing":          {"/candidates", &ampledgerv1.AddShadowRequest{}, codes.InvalidArgument, "PLUGIN_UNKNOWN", "plugin"},
	} {
		t.Run(name, func(t *testing.T) {
			rig := servicetest.New(t, servicetest.Retained)
			rig.Backend.Candidates = c.folder
			client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
			c.request.Conductor, c.request.Name = "pack", "a"
			_, err := client.AddShadow(t.Context(), c.request)
			refused(t, err, c.code, c.reason, c.field)
		})
	}
}
