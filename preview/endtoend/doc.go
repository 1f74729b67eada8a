// Package endtoend tests the built window from outside, as a person uses it: on a
// display of its own (Xvfb), by clicks, drags and keys (xdotool), watched through
// the state file and by pictures of the screen (ImageMagick's import). It also runs
// the tests of preview/view, which need a display to start at all.
//
// Only its tests do anything. It imports no ebiten, so that it can say what is
// missing on a machine without these tools; with CI set, missing is failing.
package endtoend
