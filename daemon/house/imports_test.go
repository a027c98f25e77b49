package house_test

import (
	"slices"
	"strings"
)

// stages are the rooms that only compute.
var stages = []string{"daemon/scan", "daemon/sensor", "daemon/offset", "daemon/guard", "daemon/charge", "daemon/fusion", "daemon/metrology"}

// worldly are the packages through which something other than the input could change a result, each with all below it.
var worldly = []string{
	"database/sql", "log", "math/rand", "net", "os", "sync", "syscall", "time",
	"go.uber.org/zap", "google.golang.org/grpc", "google.golang.org/protobuf", "modernc.org/sqlite",
}

var stageImports = rule{
	name: "imports of a stage",
	why: "a stage is a function of its frame and its own state: no I/O, lock, log, clock or chance, so that the same input gives the " +
		"same output, bit for bit, however often it is replayed",
	check: each(func(s *source) []string {
		if !s.in(stages...) || s.support() {
			return nil
		}
		return s.refuse(func(imported string) bool {
			room, ours := strings.CutPrefix(imported, module+"/")
			return slices.ContainsFunc(worldly, func(w string) bool { return below(imported, w) }) ||
				ours && room != "daemon/scan" && stageOf(room) != stageOf(s.room())
		})
	}),
	refused: []sample{
		{"daemon/guard/a.go", `package guard; import "os"`},
		{"daemon/charge/a.go", `package charge; import "time"`},
		{"daemon/scan/a.go", `package scan; import "net/netip"`},
		{"daemon/offset/a.go", `package offset; import "google.golang.org/grpc/codes"`},
		{"daemon/sensor/a.go", `package sensor; import "` + module + `/daemon/guard"`},
		{"daemon/metrology/zero/a.go", `package zero; import "` + module + `/daemon/sensor"`},
		{"daemon/metrology/zero/a.go", `package zero; import "os"`},
		{"daemon/sensor/a.go", `package sensor; import "` + module + `/proto/ampledger/v1"`},
	},
	passed: []sample{
		{"daemon/guard/a.go", `package guard; import ("math"; "` + module + `/daemon/scan")`},
		{"daemon/metrology/zero/a.go", `package zero; import "` + module + `/daemon/metrology/polynomial"`},
		{"daemon/guard/a_test.go", `package guard; import "os"`},
		{"daemon/store/a.go", `package store; import "os"`},
	},
}

// stageOf is the stage a room belongs to: packages of one stage, which the rule binds alike, may use each other.
func stageOf(room string) string {
	for _, stage := range stages {
		if below(room, stage) {
			return stage
		}
	}
	return room
}

var pluginImports = rule{
	name: "imports of a plugin",
	why: "whoever writes a plugin must need nothing of the daemon: what the two share is the protocol, or a change in the daemon " +
		"would break plugins that were never looked at",
	check: each(func(s *source) []string {
		if !s.in("plugins") {
			return nil
		}
		return s.refuse(func(imported string) bool { return below(imported, module+"/daemon") })
	}),
	refused: []sample{
		{"plugins/plugin/a.go", `package plugin; import "` + module + `/daemon"`},
		{"plugins/driver/replay/a_test.go", `package replay; import "` + module + `/daemon/scan"`},
	},
	passed: []sample{
		{"plugins/driver/replay/a.go", `package replay; import "` + module + `/plugins/plugin"`},
		{"cmd/internal/cli/a.go", `package cli; import "` + module + `/daemon"`},
	},
}

var mainPackages = rule{
	name: "package main",
	why:  "nobody can import or test what stands in a package main: the commands are thin, and there are two of them",
	check: each(func(s *source) []string {
		if s.tree.Name.Name != "main" || s.in("cmd") || strings.Contains(s.path, "example") {
			return nil
		}
		return []string{s.fault(s.tree.Name.Pos(), "package main outside cmd/")}
	}),
	refused: []sample{{"daemon/config/tool/main.go", "package main"}},
	passed:  []sample{{"cmd/ampledger/main.go", "package main"}, {"plugins/example/main.go", "package main"}},
}

// refuse lists the imports that are refused.
func (s *source) refuse(refused func(string) bool) []string {
	var faults []string
	for i, imported := range s.imports() {
		if refused(imported) {
			faults = append(faults, s.fault(s.tree.Imports[i].Pos(), s.room()+" imports "+imported))
		}
	}
	return faults
}

// below says whether a package is another or stands below it.
func below(imported, other string) bool {
	return imported == other || strings.HasPrefix(imported, other+"/")
}
