// Package photo finds out what a pane does to light from one photo of one lit
// pixel behind it: the pane's scatter and its Lambertian share.
//
// In: a photo (PNG of 8 or 16 bits, JPEG), the depth from LED to glass and the
// size of an image pixel on the pane, both by ruler; perhaps a dark frame, the
// LED's half angle and size, and how far away the camera stood. Out: scatter
// and Lambertian share with an interval each, and the radial profile that they
// were fitted to.
//
// The way there: codes become linear light (sRGB, IEC 61966-2-1, unless told
// otherwise); clipped pixels are left out; the spot is found, its centre and a
// slope of the background are fitted to the rings' first harmonic; the median
// of each ring gives a profile; lobe, Lambertian part and background are fitted
// to it by soft-L1 least squares, the depth held fixed. Depth and scatter
// cannot be told apart by the spot's width, which is why the depth is asked for.
//
// The intervals hold at about 95 % (TestIntervalsCover). They come from how the
// twelve sectors of the spot differ, or from what the fit leaves over along the
// radius, whichever is larger. They know nothing of a wrong ruler, of a camera
// that changes its tone curve, or of an LED of another size: Result says how
// much the scatter follows the depth and the LED's size.
//
// Refused, as findings with a fix: more than one lit pixel, a spot that leaves
// the picture, is no spot, is a few image pixels wide, is too dark or clipped
// down to its slope, a dark frame of another size, sizes of zero. Pictures over
// MaxPixels are refused before they are decoded.
//
// The rotation that a camera writes beside a JPEG is not read: a radial fit does
// not change under rotation.
package photo

import (
	"fmt"

	"paneglow/anim/finding"
)

// refuse makes a finding about a place of a photo.
func refuse(where, code, fix, message string, args ...any) error {
	return told(finding.Error, where, code, fix, message, args...)
}

func told(sev finding.Severity, where, code, fix, message string, args ...any) finding.Finding {
	return finding.Finding{Code: code, Severity: sev, Where: where, Message: fmt.Sprintf(message, args...), Fix: fix}
}
