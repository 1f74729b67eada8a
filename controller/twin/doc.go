// Package twin holds the C player (controller/player) against package
// render/play: the same table, the same events, and every refresh must latch
// the same codes, draw the same current at the same gain, and grant the same
// loads. It has tests alone.
package twin
