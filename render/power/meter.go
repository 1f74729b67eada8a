package power

import (
	"fmt"

	"paneglow/anim/finding"
	"paneglow/anim/layout"
	"paneglow/anim/show"
)

// MostPixelCurrent is the largest current of one channel of one pixel, and of
// one pixel's ceiling, in microamperes: 255 times it fits 32 bits, so that an
// 8-bit controller can count a pixel in 32.
const MostPixelCurrent = 16_000_000

// Part is how one kind of pixel draws current, tolerance included, in
// microamperes per pixel: the few numbers that a controller holds too.
type Part struct {
	Dies    int // 3 or 4
	Law     show.Law
	Idle    int64
	Channel [4]int64 // red, green, blue, white at full duty
	Ceiling int64    // per pixel; law ceiling only
}

// PartOf gives a part's currents at the upper end of their spread (as they
// are when fitted), each rounded up, and the ceiling for all LEDs of a pixel.
func PartOf(p *show.Part) Part {
	up := func(ua int64) int64 {
		if p.Fitted {
			return ua
		}
		return ceilDiv(ua*(1_000_000+int64(p.Spread)), 1_000_000)
	}
	out := Part{Dies: p.Dies(), Law: p.Law, Idle: up(int64(p.Idle))}
	for c := 0; c < out.Dies && c < 4; c++ {
		out.Channel[c] = up(int64(p.Channel[c]))
	}
	if p.Law == show.Ceiling {
		out.Ceiling = up(int64(p.Ceiling) * int64(max(p.LEDsPerPixel, 1)))
	}
	return out
}

// check refuses currents that the count is not made for.
func (p *Part) check() error {
	if p.Dies != 3 && p.Dies != 4 {
		return fmt.Errorf("%d dies, want 3 or 4", p.Dies)
	}
	if p.Law > show.Ceiling {
		return fmt.Errorf("unknown current law %d", p.Law)
	}
	for _, ua := range append([]int64{p.Idle, p.Ceiling}, p.Channel[:]...) {
		if ua < 0 || ua > MostPixelCurrent {
			return fmt.Errorf("a current of %d uA per pixel, want 0 to %d", ua, MostPixelCurrent)
		}
	}
	if p.Law == show.Ceiling && p.Ceiling == 0 {
		return fmt.Errorf("law ceiling without a ceiling")
	}
	return nil
}

// Run is a stretch of neighbouring addressed pixels of one part in a frame.
type Run struct {
	Part   int // index into the meter's parts
	Offset int // of its first channel in a frame of codes
	Pixels int
	Supply int // that feeds it, 0 for the first
}

// Meter counts the current of frames of codes. It is immutable and safe for
// any number of goroutines.
type Meter struct {
	parts    []Part
	runs     []Run
	channels int
	idle     int64
	each     []*Meter // one for every supply where there are several, else nil
}

// NewMeter makes the meter of a laid out machine. The layout must be of this
// machine. It refuses parts whose currents cannot be counted, naming the part.
func NewMeter(m *show.Machine, l *layout.Layout) (*Meter, error) {
	parts := make([]Part, len(m.Parts))
	var bad finding.List
	for i := range m.Parts {
		p := &m.Parts[i]
		if p.Spread < 0 || p.Spread > 1_000_000 || p.LEDsPerPixel > 1000 {
			bad = append(bad, finding.At(p.Pos, finding.Error, "power.part",
				fmt.Sprintf("part %q: spread must be 0 %% to 100 %% and LEDs per pixel at most 1000", p.Name),
				"give the tolerance of the part's data sheet"))
			continue
		}
		// The bare figures first: the tolerance would round a small negative away.
		bare := Part{Dies: p.Dies(), Law: p.Law, Idle: int64(p.Idle), Ceiling: int64(p.Ceiling)}
		for c := range bare.Channel {
			bare.Channel[c] = int64(p.Channel[c])
		}
		err := bare.check()
		if err == nil {
			parts[i] = PartOf(p)
			err = parts[i].check()
		}
		if err != nil {
			bad = append(bad, finding.At(p.Pos, finding.Error, "power.part",
				fmt.Sprintf("part %q: %v", p.Name, err), "give the part's currents per pixel as measured or from its data sheet"))
		}
	}
	if err := bad.Err(); err != nil {
		return nil, err
	}
	var runs []Run
	for s := range l.Strips {
		st := &l.Strips[s]
		if st.Part < 0 || st.Part >= len(parts) || st.Dies != parts[st.Part].Dies {
			return nil, fmt.Errorf("power: strip %q has part %d with %d dies, which the machine does not", st.Name, st.Part, st.Dies)
		}
		supply := 0
		if strip := m.Strip(st.Name); strip != nil {
			supply = m.SupplyIndex(strip.Supply)
		}
		open := false
		for i := st.First; i < st.First+st.Count; i++ {
			if l.Pixels[i].Missing {
				open = false
				continue
			}
			if !open {
				runs = append(runs, Run{Part: st.Part, Offset: l.Pixels[i].Offset, Supply: supply})
				open = true
			}
			runs[len(runs)-1].Pixels++
		}
	}
	return Build(parts, runs, l.Channels())
}

// MostSupplies is the most supplies that one panel's strips and loads hang on.
const MostSupplies = 4

// Build makes a meter from bare currents and runs over frames of the given
// number of channels: what a frame table holds. Runs may not leave the frame.
func Build(parts []Part, runs []Run, channels int) (*Meter, error) {
	for i := range parts {
		if err := parts[i].check(); err != nil {
			return nil, fmt.Errorf("power: part %d: %w", i, err)
		}
	}
	m := &Meter{parts: parts, runs: runs, channels: channels}
	for _, r := range runs {
		if r.Part < 0 || r.Part >= len(parts) || r.Pixels < 0 || r.Offset < 0 || r.Pixels > channels ||
			r.Offset+r.Pixels*parts[r.Part].Dies > channels {
			return nil, fmt.Errorf("power: a run of %d pixels at channel %d leaves the frame of %d channels", r.Pixels, r.Offset, channels)
		}
		if r.Supply < 0 || r.Supply >= MostSupplies {
			return nil, fmt.Errorf("power: a run on supply %d, at most %d are counted", r.Supply, MostSupplies)
		}
		m.idle += parts[r.Part].Idle * int64(r.Pixels)
	}
	m.split()
	return m, nil
}

// split makes a meter for every supply, where runs hang on several.
func (m *Meter) split() {
	n := 1
	for _, r := range m.runs {
		n = max(n, r.Supply+1)
	}
	if n == 1 {
		return
	}
	for s := range n {
		one := &Meter{parts: m.parts, channels: m.channels}
		for _, r := range m.runs {
			if r.Supply == s {
				r.Supply = 0
				one.runs = append(one.runs, r)
				one.idle += m.parts[r.Part].Idle * int64(r.Pixels)
			}
		}
		m.each = append(m.each, one)
	}
}

// Of is the meter of one supply: it counts the pixels that hang on it, in
// frames of the whole panel. A supply that feeds no pixel counts nothing.
func (m *Meter) Of(supply int) *Meter {
	switch {
	case m.each == nil && supply == 0:
		return m
	case supply < len(m.each):
		return m.each[supply]
	}
	return &Meter{parts: m.parts, channels: m.channels} // nothing of the panel hangs on it
}

// AnyCeiling tells whether a part with pixels follows the law ceiling, so that
// currents do not scale with the codes.
func (m *Meter) AnyCeiling() bool {
	for _, r := range m.runs {
		if r.Pixels > 0 && m.parts[r.Part].Law == show.Ceiling {
			return true
		}
	}
	return false
}

// CodeStep is the most that one step of all codes at once can change the
// current, in microamperes: codes are whole, so no lit panel changes more
// gently than that.
func (m *Meter) CodeStep() int64 {
	ones := make([]uint8, m.channels)
	for i := range ones {
		ones[i] = 1
	}
	return m.Bound(ones) - m.idle
}

// Channels is the length of a frame of codes.
func (m *Meter) Channels() int { return m.channels }

// Pixels is how many pixels draw current: all but the missing ones.
func (m *Meter) Pixels() int {
	n := 0
	for _, r := range m.runs {
		n += r.Pixels
	}
	return n
}

// Idle is the current of a dark frame in microamperes.
func (m *Meter) Idle() int64 { return m.idle }

// Parts is the meter's parts, not to be changed.
func (m *Meter) Parts() []Part { return m.parts }

// LeastSlew is the least slew of the lights' current, in microamperes a second,
// with which a player that refreshes at a rate reaches any frame: two steps of
// all codes a refresh, and what rounding up takes. Below it the light could come
// to rest on the way, for codes are whole.
func (m *Meter) LeastSlew(refreshesASecond int) int64 {
	return (2*m.CodeStep() + 2*int64(len(m.parts))) * int64(refreshesASecond)
}

// Current is what a frame of codes draws at the supply, in microamperes, idle
// included, rounded up; where there are several supplies, at all of them
// together. len(codes) must be Channels, or it panics. It allocates nothing.
func (m *Meter) Current(codes []uint8) int64 { return m.total(codes, false) }

// Bound is what the frame would draw if every part followed the law sum: never
// less than Current. It scales: floor(code*k) draws at most k times the
// bound's part above idle, which Current does not promise under the law
// ceiling.
func (m *Meter) Bound(codes []uint8) int64 { return m.total(codes, true) }

// total adds up the supplies' counts, each rounded up for itself.
func (m *Meter) total(codes []uint8, plain bool) int64 {
	if m.each == nil {
		return m.count(codes, plain)
	}
	sum := int64(0)
	for _, one := range m.each {
		sum += one.count(codes, plain)
	}
	return sum
}

func (m *Meter) count(codes []uint8, plain bool) int64 {
	if len(codes) != m.channels {
		panic("power: a frame of another length than the meter's")
	}
	total := m.idle
	for p := range m.parts {
		part := &m.parts[p]
		var num int64
		if part.Law == show.Sum || plain {
			var sums [4]uint64
			for _, r := range m.runs {
				if r.Part == p {
					addChannels(&sums, codes[r.Offset:r.Offset+r.Pixels*part.Dies], part.Dies)
				}
			}
			for c, s := range sums {
				num += int64(s) * part.Channel[c]
			}
		} else {
			for _, r := range m.runs {
				if r.Part == p {
					num += perPixel(part, codes[r.Offset:r.Offset+r.Pixels*part.Dies])
				}
			}
		}
		total += ceilDiv(num, 255)
	}
	return total
}

// Numerator is the frame's light in microamperes times 255, all parts
// together, by a count that scales: floor(code*k) has at most k times it. The
// laws sum and largest scale by themselves; a part under the law ceiling
// counts by its plain sum.
func (m *Meter) Numerator(codes []uint8) int64 {
	var num int64
	for _, r := range m.runs {
		part := &m.parts[r.Part]
		px := codes[r.Offset : r.Offset+r.Pixels*part.Dies]
		if part.Law == show.Largest {
			num += perPixel(part, px)
			continue
		}
		var sums [4]uint64
		addChannels(&sums, px, part.Dies)
		for c, s := range sums {
			num += int64(s) * part.Channel[c]
		}
	}
	return num
}

// ceilDiv divides a non-negative a by a positive b, rounded up.
func ceilDiv(a, b int64) int64 { return (a + b - 1) / b }
