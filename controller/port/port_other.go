//go:build !linux

package port

import (
	"errors"
	"os/exec"
	"runtime"
)

var errBusy = errors.New("busy")

// hold locks nothing on this system beside its own exclusive opening, and opening
// may restart a board.
func hold(string) (release func(), err error) { return func() {}, nil }

func holders(string) string { return "" }

func shell(text string) *exec.Cmd {
	if runtime.GOOS == "windows" {
		return exec.Command("cmd", "/C", text)
	}
	return exec.Command("sh", "-c", text)
}
