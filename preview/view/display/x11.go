//go:build linux || freebsd || netbsd || openbsd

package display

// #cgo LDFLAGS: -lX11
// #include <X11/Xlib.h>
// static int reachable(void) {
//	Display *d = XOpenDisplay(0);
//	if (!d) return 0;
//	XCloseDisplay(d);
//	return 1;
// }
import "C"

import "syscall"

func init() {
	if C.reachable() != 0 {
		return
	}
	why := "DISPLAY is not set"
	if name, ok := syscall.Getenv("DISPLAY"); ok && name != "" {
		why = "no X server answers at DISPLAY " + name
	}
	syscall.Write(2, []byte("error: there is no display to open the window on: "+why+"\n"+
		"  fix: start it in a desktop session, or set DISPLAY to a running X server; \"paneglow render\" makes pictures without one\n"))
	syscall.Exit(1)
}
