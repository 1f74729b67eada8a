package table

// Memory is how a controller's RAM is shared out, in bytes.
type Memory struct {
	Player int // the player's own state
	Frame  int // the pixel buffer
	Frozen int // what a crossfade comes from
	Work   int // what unpacking needs beside the frame
	Stack  int // reserved for calls and interrupts
}

// Of the C player as avr-gcc lays it out: no padding, 16-bit pointers. A test in
// controller/twin compiles it and holds the sum against sizeof.
const (
	playerFixed  = 304 // all that no panel changes
	playerLaws   = 12  // where another law than sum is counted
	playerRail   = 52  // a supply
	playerSlew   = 12  // of it, where its light rises slowly
	playerCount  = 8   // a part on a supply
	playerGap    = 2   // a missing or dead pixel, and one more
	decoderFixed = 146 // the decoder without its buffers
	keysFixed    = 48  // what key frames need beside it
)

// Stack is reserved for the player's deepest call with an interrupt on top. The
// deepest call takes 285 bytes in the simulator (TestEveryCallIsShort in
// controller/twin, -Os, 240 pixels); the rest is for an interrupt routine.
const Stack = 320

// CountCycles is what the player takes for a pixel of a refresh beside unpacking
// and sending it: 85 cycles to count it and 40 for its share of all other work, at
// 240 pixels and -Os in the simulator (BenchmarkPlayer in controller/sim), for a
// clip alone at full gain under a law that adds. A crossfade and a budget that bites
// take about 100 more for every pass, of which there are up to three, another law
// ten times that; such a refresh comes late where that does not fit.
const CountCycles = 125

// Memory gives the plan of a panel's firmware.
func (c Config) Memory(t *Show) Memory {
	missing := 0
	for i := range t.Strips {
		missing += len(t.Strips[i].Missing)
	}
	supplies, keys := 1+len(t.Further), 0
	if c.Keys > 0 {
		keys = keysFixed
	}
	fixed, rail, frozen := playerFixed, playerRail+playerSlew+playerCount*len(t.Parts), t.Channels()
	if laws(t) > 1 {
		fixed += playerLaws
	}
	if c.Only != nil && !c.Only.Slew {
		rail -= playerSlew
	}
	if c.Only != nil && !c.Only.Fades {
		frozen = 0
	}
	return Memory{
		Player: fixed + decoderFixed + keys + supplies*rail + playerGap*(missing+c.Dead+1),
		Frame:  t.Channels(), Frozen: frozen, Work: max(c.Work, 1), Stack: Stack,
	}
}

// Sum is all of it.
func (m Memory) Sum() int { return m.Player + m.Frame + m.Frozen + m.Work + m.Stack }
