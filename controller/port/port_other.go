//go:build !linux

package port

import (
	"errors"
	"os/exec"
	"runtime"
)

var errBusy = errors.New("busy")

// keepReady is not known on this system: opening may restart a board.
func keepReady(string) error { return nil }

func holders(string) string { return "" }

func shell(text string) *exec.Cmd {
	if runtime.GOOS == "windows" {
		return exec.Command("cmd", "/C", text)
	}
	return exec.Command("sh", "-c", text)
}
