//go:build race

package photo

// raced tells that the race detector slows everything down tenfold.
const raced = true
