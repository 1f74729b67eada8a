package table

import "slices"

// Memory is how a controller's RAM is shared out, in bytes.
type Memory struct {
	Player int // the player's own state
	Frame  int // the pixel buffer
	Frozen int // what a crossfade comes from
	Work   int // what unpacking needs beside the frame
	Rows   int // what goes out on data lines side by side
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
	decoderFixed = 142 // the decoder without its buffers
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

// RowCycles is what it takes to work out the rows of data lines side by side, by
// avr-gcc -Os in the simulator (TestWhatRowsCost in controller/sim); 0 in turn.
func RowCycles(t *Show, together bool) int64 {
	longest, masks := Config{Together: together}.rows(t)
	if longest == 0 {
		return 0
	}
	turn := 58 + masks + 8*len(t.Lines)
	if masks == 8 {
		turn += 48
	}
	return int64(t.Pixels()*fillPixel + len(t.Strips)*fillStrip + longest*turn)
}

// fillPixel is what a pixel's final bytes take on their way into the rows, in cycles,
// with a palette and a gain; a crossfade takes up to 25 more, beside what CountCycles
// says of it. fillStrip is what each strip, and the end of a line, takes once.
const (
	fillPixel = 140
	fillStrip = 1150
)

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
	rows := 0
	if longest, masks := c.rows(t); longest > 0 {
		rows = longest*masks + 1
	}
	return Memory{
		Player: fixed + decoderFixed + keys + supplies*rail + playerGap*(missing+c.Dead+1),
		Frame:  t.Channels(), Frozen: frozen, Work: max(c.Work, 1), Rows: rows, Stack: Stack,
	}
}

// Sum is all of it.
func (m Memory) Sum() int { return m.Player + m.Frame + m.Frozen + m.Work + m.Rows + m.Stack }

// rows gives what data lines side by side go out from: the bytes of the longest one,
// and how many bytes of masks each of them takes; 0 where they go out in turn.
func (c Config) rows(t *Show) (longest, masks int) {
	if !c.Together || len(t.Lines) < 2 {
		return 0, 0
	}
	of := make([]int, len(t.Lines))
	for i := range t.Strips {
		st := &t.Strips[i]
		of[st.Line] += st.Pixels * t.Parts[st.Part].Dies
	}
	if len(t.Lines) <= 4 {
		return slices.Max(of), 4
	}
	return slices.Max(of), 8
}
