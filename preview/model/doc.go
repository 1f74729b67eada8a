// Package model is the window without a window: what happened goes in (Input),
// what is to be drawn comes out (List, Light). It knows no display, so it is
// tested without one; package view is the thin layer that shows it.
//
// Everything that is drawn or counted comes from what render/play latches.
package model
