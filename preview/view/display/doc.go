// Package display ends the program with a sentence where no window can open.
//
// ebiten opens the display while packages are initialised, before main, and a
// failure there is a trace of goroutines that main can not catch. So the question
// is asked here, earlier still: packages are initialised in the order of their
// import paths as soon as all that they import is ready (Go 1.21 release notes).
// This one imports only C and syscall; ebiten's ui waits among others for package
// time, which comes behind this path in the alphabet. A test of the built command
// holds the order.
//
// It asks as the window will, by opening the display and closing it again, which
// covers a name that is unset, a server that does not answer, and one that refuses.
package display
