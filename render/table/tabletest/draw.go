// Package tabletest draws small shows for property tests, packs them into
// tables, and counts their currents by means of its own.
package tabletest

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strings"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/show"
	"paneglow/render/power"
	"paneglow/render/table"
)

// Draw draws a small show under any laws, of 3 and 4 dies, with loads,
// states, hand-overs, longest stays, levels and a host, and packs it.
func Draw(t *rapid.T) *table.Table {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	return Fill(t, r, Panel(r), table.Quick)
}

// Panel draws what is soldered: parts, strips, missing pixels, and in one of
// three cases a second supply, still without its limits.
func Panel(r *rand.Rand) *table.Show {
	s := &table.Show{Title: "drawn", Then: table.None, Lines: []string{"a"}}
	if r.IntN(3) == 0 {
		s.Lines = append(s.Lines, "b")
	}
	for i := range 1 + r.IntN(2) {
		p := table.Part{Name: string(rune('p' + i)), Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000}
		p.Part = power.Part{Dies: 3, Law: show.Law(r.IntN(3)), Idle: int64(r.IntN(2000))}
		if p.Law == show.Ceiling {
			p.Ceiling = 1 + int64(r.IntN(40_000))
		}
		if r.IntN(2) == 0 {
			p.Dies, p.Order = 4, "WGRB"
		}
		for c := range p.Dies {
			p.Channel[c] = int64(r.IntN(20_000))
		}
		s.Parts = append(s.Parts, p)
	}
	for i := range 1 + r.IntN(3) {
		st := table.Strip{Name: string(rune('a' + i)), Part: r.IntN(len(s.Parts)), Line: r.IntN(len(s.Lines)), Pixels: r.IntN(12)}
		for px := range st.Pixels {
			if r.IntN(8) == 0 {
				st.Missing = append(st.Missing, px)
			}
		}
		s.Strips = append(s.Strips, st)
	}
	if r.IntN(3) == 0 { // some strips hang on a supply of their own
		s.Further = []table.Supply{{Name: "b", Raise: 1}}
		for i := range s.Strips {
			s.Strips[i].Supply = r.IntN(2)
		}
	}
	return s
}

// Fill draws a show for a panel, into it, and packs it.
func Fill(t require.TestingT, r *rand.Rand, s *table.Show, pack table.Pack) *table.Table {
	s.FPS = 5 + r.IntN(60)
	meter, err := s.Meter()
	require.NoError(t, err)
	white := bytes.Repeat([]byte{255}, s.Channels())
	full := meter.Current(white)

	// A supply that is ample, tight, or too small even for the dark panel.
	s.Steady = meter.Idle() + int64(float64(full-meter.Idle())*(0.1+0.8*r.Float64()))
	if r.IntN(8) == 0 {
		s.Steady = meter.Idle() * int64(r.IntN(100)) / 100
	}
	s.Surge = s.Steady + int64(r.IntN(int(full/4)+1))
	s.Steady = share(s.Steady, s.Surge)
	s.Raise = 1 + int64(r.IntN(int(s.Surge/200)+1))
	for i := range r.IntN(4) {
		run := int64(r.IntN(int(s.Steady/4) + 1))
		s.Loads = append(s.Loads, table.Load{Name: string(rune('l' + i)), Run: run, Start: run + int64(r.IntN(int(s.Steady/4)+1))})
	}
	second := len(s.Further) > 0
	if second { // some loads hang on it too
		x := table.Supply{Name: "b", Steady: s.Steady * int64(50+r.IntN(100)) / 100}
		x.Surge, x.Raise = x.Steady+int64(r.IntN(int(full/4)+1)), 1+int64(r.IntN(int(s.Surge/200)+1))
		x.Steady = share(x.Steady, x.Surge)
		s.Further = []table.Supply{x}
		for i := range s.Loads {
			s.Loads[i].Supply = r.IntN(2)
		}
	}
	if r.IntN(2) == 0 {
		s.Slew = 1 + int64(r.IntN(int(full/300)+1))
		if second {
			s.Further[0].Slew = int64(r.IntN(2)) * (1 + int64(r.IntN(int(full/300)+1)))
		}
	}
	clips := make([]table.Clip, 1+r.IntN(3))
	for i := range clips {
		c := &clips[i]
		*c = table.Clip{Name: string(rune('c' + i)), Frames: 1 + r.IntN(9), Channels: s.Channels(), Loop: r.IntN(3) > 0, Random: r.IntN(4) == 0}
		if r.IntN(4) == 0 {
			c.Value, c.Frames, c.Loop, c.Random = true, 256, false, false
		}
		most := 1 + r.IntN(256)
		for range c.Frames * c.Channels {
			c.Bytes = append(c.Bytes, uint8(r.IntN(most)))
		}
		dark(s, c.Bytes)
	}
	states := 1 + r.IntN(4)
	for i := range states {
		st := table.State{Name: string(rune('s' + i)), Clip: r.IntN(len(clips)), HandOver: show.HandOver(r.IntN(3)),
			Fade: int64(r.IntN(600)), Still: r.IntN(4) == 0, Then: table.None}
		if len(s.Loads) > 0 {
			st.Loads = uint32(r.IntN(1 << len(s.Loads)))
		}
		if r.IntN(3) == 0 {
			st.AtMost, st.Then = 1+int64(r.IntN(2000)), r.IntN(states)
		}
		st.Budget = StateBudget(s, 0, st.Loads)
		if i == 0 || st.Budget < s.Least {
			s.Least = st.Budget
		}
		if second {
			b := StateBudget(s, 1, st.Loads)
			st.Further = []int64{b}
			if i == 0 || b < s.Further[0].Least {
				s.Further[0].Least = b
			}
		}
		s.States = append(s.States, st)
	}
	if r.IntN(2) == 0 {
		s.Silence, s.Then = 1+int64(r.IntN(3000)), r.IntN(states)
	}
	if r.IntN(2) == 0 {
		s.Levels = []table.Level{{From: 6 * 3600, Days: 0x7f, Lightness: 1000}, {From: 22 * 3600, Days: 0x1f, Lightness: uint16(r.IntN(1001))}}
	}
	var out bytes.Buffer
	_, err = table.Write(&out, s, clips, table.Options{Workers: 1, Pack: pack})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

// share makes a steady current a whole number of millionths of the surge one,
// as a machine file states it.
func share(steady, surge int64) int64 {
	if surge == 0 {
		return 0
	}
	return steady * 1_000_000 / surge * surge / 1_000_000
}

// Machine writes the machine file that a drawn show's currents belong to: its
// parts, strips, supplies and loads, nothing else.
func Machine(s *table.Show) string {
	var b strings.Builder
	ua := func(v int64) string { return fmt.Sprintf("\"%d uA\"", v) }
	for _, p := range s.Parts {
		fmt.Fprintf(&b, "[[part]]\nname = %q\norder = %q\nlaw = %q\nfitted = true\ncurrent = { idle = %s", p.Name, p.Order, p.Law, ua(p.Idle))
		for d := range p.Dies {
			fmt.Fprintf(&b, ", %s = %s", [4]string{"red", "green", "blue", "white"}[d], ua(p.Channel[d]))
		}
		if p.Law == show.Ceiling {
			fmt.Fprintf(&b, ", ceiling = %s", ua(p.Ceiling))
		}
		b.WriteString(" }\n")
	}
	hangs := func(k int) {
		if k > 0 {
			fmt.Fprintf(&b, "supply = %q\n", s.Further[k-1].Name)
		}
	}
	for _, st := range s.Strips {
		fmt.Fprintf(&b, "[[strip]]\nname = %q\npart = %q\npixels = %d\n", st.Name, s.Parts[st.Part].Name, st.Pixels)
		if len(st.Missing) > 0 {
			fmt.Fprintf(&b, "missing = [%s]\n", strings.Trim(strings.Join(strings.Fields(fmt.Sprint(st.Missing)), ", "), "[]"))
		}
		hangs(st.Supply)
	}
	for i, x := range s.Supplies() {
		if i == 0 {
			x.Name = "first"
		}
		share := int64(0)
		if x.Surge > 0 {
			share = (x.Steady*1_000_000 + x.Surge - 1) / x.Surge
		}
		fmt.Fprintf(&b, "[[supply]]\nname = %q\namps = %s\nshare = \"%d.%04d %%\"\n", x.Name, ua(x.Surge), share/10_000, share%10_000)
		if x.Slew > 0 {
			fmt.Fprintf(&b, "slew = { rise = \"%d mA/s\" }\n", x.Slew)
		}
	}
	for _, l := range s.Loads {
		fmt.Fprintf(&b, "[[load]]\nname = %q\namps = %s\nstart = %s\n", l.Name, ua(l.Run), ua(l.Start))
		hangs(l.Supply)
	}
	return b.String()
}

func dark(s *table.Show, b []byte) {
	off := 0
	for _, st := range s.Strips {
		dies := s.Parts[st.Part].Dies
		for _, px := range st.Missing {
			for at := off + px*dies; at < len(b); at += s.Channels() {
				clear(b[at : at+dies])
			}
		}
		off += st.Pixels * dies
	}
}

// StateBudget is design arithmetic again: steady less all, surge less the
// worst start beside the others, of the loads on one supply.
func StateBudget(s *table.Show, supply int, loads uint32) int64 {
	var all, peak int64
	for i, l := range s.Loads {
		if loads>>i&1 != 0 && l.Supply == supply {
			all += l.Run
		}
	}
	for i, l := range s.Loads {
		if loads>>i&1 != 0 && l.Supply == supply {
			peak = max(peak, all-l.Run+l.Start)
		}
	}
	x := s.Supplies()[supply]
	return min(x.Steady-all, x.Surge-peak)
}

// Recount is the current of codes from one supply straight from the table's
// parts, pixel by pixel, in a different order and by different means than the
// meter's.
func Recount(s *table.Show, supply int, codes []byte) int64 {
	nums := make([]float64, len(s.Parts)) // whole numbers far below 2^53
	total, at := int64(0), 0
	for _, st := range s.Strips {
		p := s.Parts[st.Part]
		for px := range st.Pixels {
			missing := st.Supply != supply
			for _, m := range st.Missing {
				missing = missing || m == px
			}
			c := codes[at : at+p.Dies]
			at += p.Dies
			if missing {
				continue
			}
			total += p.Idle
			sum, biggest := 0.0, 0.0
			for d := range c {
				x := float64(c[d]) * float64(p.Channel[d])
				sum += x
				biggest = max(biggest, x)
			}
			switch p.Law {
			case show.Sum:
				nums[st.Part] += sum
			case show.Largest:
				nums[st.Part] += biggest
			default:
				nums[st.Part] += min(sum, float64(p.Ceiling)*255)
			}
		}
	}
	for _, n := range nums {
		total += int64(n) / 255
		if int64(n)%255 != 0 {
			total++
		}
	}
	return total
}
