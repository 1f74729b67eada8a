// Package view is the window: it hands what the person does to a Model, and draws
// the list that the model answers with. It decides nothing; everything that can be
// wrong is in package model, which needs no display.
//
// Lengths in lists are logical pixels; the view draws in the screen's own pixels
// and keeps what did not change since the last frame, so a still window costs next
// to nothing.
//
// It is the only package, beside its command, that holds ebiten and cgo. A program
// that reaches it cannot start without a display: package display, imported here,
// says so in a sentence before ebiten would say it in a trace.
package view
