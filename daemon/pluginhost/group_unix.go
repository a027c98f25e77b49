//go:build unix

package pluginhost

import (
	"os"
	"os/exec"
	"syscall"
)

// makeGroup makes the process the leader of a group of its own: signals of a terminal do not reach it, and it can be killed with all that
// it started.
func makeGroup(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }

func killGroup(leader *os.Process) { _ = syscall.Kill(-leader.Pid, syscall.SIGKILL) } // nobody left = done
