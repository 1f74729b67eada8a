package wiring

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/finding"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/power"
)

// sketch is a machine file; all values are invented. Strips of 60 pixels a metre
// stand side by side.
type sketch struct {
	law, current, rails, least, copper, rest string
	amps                                     string
	strips                                   []int // pixels
	feeds                                    string
}

func (k sketch) text() string {
	or := func(s, d string) string {
		if s == "" {
			return d
		}
		return s
	}
	var b, names strings.Builder
	for i, n := range k.strips {
		fmt.Fprintf(&names, "%q, ", fmt.Sprintf("s%d", i))
		fmt.Fprintf(&b, "[[strip]]\nname = \"s%d\"\npart = \"p\"\npath = [[\"10 mm\", \"%d mm\"], [\"%.3f mm\", \"%d mm\"]]\npixels = %d\n%s\n", i, 10+i, 10+1000.0/60*float64(n-1), 10+i, n, k.rest)
	}
	return `[panel]
size = ["20 m", "1 m"]
depth = "48 mm"
glass = { scatter = "32 deg", lambertian = 0.15, transmittance = [0.84, 0.84, 0.82] }
room = { day = "8000 lx", night = "20 lx", viewer = "1.5 m" }
[[part]]
name = "p"
order = "GRB"
pitch = "60 /m"
law = "` + or(k.law, "sum") + `"
current = { ` + or(k.current, `idle = "1 mA", red = "12 mA", green = "12 mA", blue = "12 mA", spread = "0 %"`) + ` }
volts = { nominal = "12 V", least = "` + or(k.least, "9 V") + `" }
light = { red = ["622 nm", "400 mcd"], green = ["523 nm", "690 mcd"], blue = ["466 nm", "190 mcd"] }
rails = "` + or(k.rails, "0.2 ohm/m") + `"
data = { bit = "1.25 us", latch = "280 us", gap = "5 us", pwm = "2 kHz" }
[[line]]
name = "a"
driver = "5 V"
strips = [` + names.String() + `]
` + b.String() + `
[supply]
volts = "12 V"
amps = "` + or(k.amps, "20 A") + `"
[wiring]
` + or(k.copper, `temperature = "20 degC"
contact = "0 ohm"`) + `
` + k.feeds + `
[controller]
clock = "16 MHz"
flash = "248 KiB"
ram = "8 KiB"
machine_flash = "64 KiB"
machine_ram = "1500 B"
machine_share = "40 %"
baud = 500000
`
}

func feed(strip string, pixel int, wire, length, fuse string) string {
	return fmt.Sprintf("[[feed]]\nat = [%q, %d]\nwire = %q\nlength = %q\nfuse = %q\n", strip, pixel, wire, length, fuse)
}

func joint(a string, i int, b string, j int, wire, length, more string) string {
	return fmt.Sprintf("[[joint]]\nfrom = [%q, %d]\nto = [%q, %d]\nwire = %q\nlength = %q\n%s\n", a, i, b, j, wire, length, more)
}

func (k sketch) parse(t require.TestingT) (*show.Machine, *layout.Layout) {
	m, found := show.ParseMachine("machine.toml", []byte(k.text()))
	require.NoError(t, found.Err())
	l, err := layout.New(m)
	require.NoError(t, err)
	return m, l
}

func (k sketch) panel(t require.TestingT) *Panel {
	p, err := NewPanel(k.parse(t))
	require.NoError(t, err)
	return p
}

// white is one lap of one frame with all dies at a code.
func white(p *Panel, code uint8) []Lap {
	f := make([]uint8, p.Layout.Channels())
	for i := range f {
		f[i] = code
	}
	return []Lap{{State: "on", Clip: "on", Frames: [][]uint8{f}}}
}

// 5 m of 0.20 ohm/m that draw 3.0 A evenly: the figures of the plain ladder, from a
// machine file. Dark, the strip draws its idle current and no more.
func TestDarkStripFromAFile(t *testing.T) {
	k := sketch{strips: []int{300}, current: `idle = "10 mA", red = "12 mA", green = "12 mA", blue = "12 mA", spread = "0 %"`, feeds: feed("s0", 0, "16 mm2", "1 mm", "4 A")}
	p := k.panel(t)
	s, err := p.Survey(&white(p, 0)[0])
	require.NoError(t, err)
	require.InDelta(t, 10.50, s.Low.Volts, 0.03)
	require.InDelta(t, 12-3.0/300*0.2/60*299*300/2, s.Low.Volts, 1e-4) // i r n(n+1)/2 beyond the fed pixel
	require.InDelta(t, 3.0, s.Feeds[0].Value, 1e-7)                    // over a wire of a microohm
	require.InDelta(t, 3*12, s.Watts, 1e-6)
	k.feeds += feed("s0", 299, "16 mm2", "1 mm", "4 A")
	p = k.panel(t)
	s, err = p.Survey(&white(p, 0)[0])
	require.NoError(t, err)
	require.InDelta(t, 11.625, s.Low.Volts, 0.01)
	require.InDelta(t, 1.5, s.Feeds[0].Value, 1e-7)
}

// Ohms of a plan by hand: 0.75 mm2 at 60 degC, two connections in each wire; the
// rails of a pixel's pitch; a ground lead without a plus.
func TestOhmsOfAFile(t *testing.T) {
	m, l := sketch{strips: []int{60, 60}, rails: "0.16 ohm/m", copper: "temperature = \"60 degC\"\ncontact = \"10 mohm\"",
		feeds: feed("s0", 0, "0.75 mm2", "900 mm", "4 A") + feed("s1", 5, "AWG 18", "2 m", "4 A") + joint("s0", 59, "s1", 0, "1 mm2 class 2", "100 mm", `conductors = "minus"`)}.parse(t)
	p, err := PlanOf(m, l)
	require.NoError(t, err)
	warm := 1.1572
	require.InDelta(t, 0.026*0.9*warm+0.02, p.Feeds[0].Wire.Plus, 1e-9)
	require.Equal(t, p.Feeds[0].Wire.Plus, p.Feeds[0].Wire.Minus)
	require.InDelta(t, 0.020948*2*warm+0.02, p.Feeds[1].Wire.Minus, 1e-6)
	require.InDelta(t, 0.08/60*warm, p.Strips[0].Rails.Plus, 1e-9)
	require.True(t, math.IsInf(p.Joints[0].Wire.Plus, 1))
	require.InDelta(t, 0.0181*0.1*warm+0.02, p.Joints[0].Wire.Minus, 1e-9)
}

func TestStripsWithoutAFeed(t *testing.T) {
	for feeds, want := range map[string]string{
		feed("s0", 0, "1 mm2", "1 m", "4 A"): `no feed reaches strip "s1": it stays dark`,
		feed("s0", 0, "1 mm2", "1 m", "4 A") + joint("s0", 9, "s1", 0, "1 mm2", "1 m", `conductors = "minus"`): `no feed reaches strip "s1": it stays dark`,
	} {
		_, err := NewPanel(sketch{strips: []int{10, 10}, feeds: feeds}.parse(t))
		var list finding.List
		require.ErrorAs(t, err, &list)
		require.Equal(t, "power.no_feed", list[0].Code)
		require.Equal(t, want, list[0].Message)
		require.Equal(t, `give it a [[feed]] at = ["s1", 0], or a [[joint]] from = ["s0", 9], to = ["s1", 0]`, list[0].Fix)
		require.NotZero(t, list[0].Pos.Line)
	}
	p := sketch{strips: []int{10, 10}, feeds: feed("s0", 0, "1 mm2", "1 m", "4 A") + joint("s0", 9, "s1", 0, "1 mm2", "1 m", "")}.panel(t)
	s, err := p.Survey(&white(p, 255)[0])
	require.NoError(t, err)
	require.Equal(t, Place{1, 9}, s.At)
}

// All draws of a frame together are what package power counts, under each law, with
// hidden and missing pixels, to the microampere that it rounds up.
func TestDrawsAddUp(t *testing.T) {
	laws := []sketch{
		{},
		{law: "largest"},
		{law: "ceiling", current: `idle = "1 mA", red = "12 mA", green = "13 mA", blue = "14 mA", ceiling = "20 mA", spread = "7 %"`},
	}
	for _, k := range laws {
		k.strips, k.feeds, k.rest = []int{40}, feed("s0", 0, "1 mm2", "1 m", "4 A"), "hidden = [3]\nmissing = [0, 7, 39]"
		k.rest = "missing = [0, 7, 39]"
		p := k.panel(t)
		meter, err := power.NewMeter(p.Machine, p.Layout)
		require.NoError(t, err)
		rapid.Check(t, func(t *rapid.T) {
			codes := rapid.SliceOfN(rapid.Uint8(), 120, 120).Draw(t, "codes")
			draw := make([]int64, 40)
			p.Draws.Of(draw, codes)
			sum := int64(0)
			for _, d := range draw {
				sum += d
			}
			require.Equal(t, meter.Current(codes), (sum+254)/255)
			require.Zero(t, draw[0]+draw[7]+draw[39])
		})
	}
}

// Fuses by hand: 0.6 A wants 1 A; 80 % of a rating is enough, a little more is not.
func TestFuses(t *testing.T) {
	for load, want := range map[float64]float64{0.6: 1, 0.8: 1, 0.81: 2, 2.4: 3, 2.41: 4, 6: 7.5, 6.01: 10, 32: 40, 33: 0} {
		require.Equal(t, want, FuseFor(load), load)
	}
}

// A fuse's three faults, each by figures worked out by hand: 1 m of 0.5 mm2 (39
// mohm a wire) to 60 pixels (one metre) of 0.2 ohm/m; a short at the far end meets
// 78 + 0.2 * 59/60 ohm.
func TestProtection(t *testing.T) {
	far := 12 / (0.078 + 0.2*59.0/60)
	protect := func(k sketch, load float64) Protection {
		p := k.panel(t)
		q, err := p.Protect([]float64{load})
		require.NoError(t, err)
		return q[0]
	}
	k := sketch{strips: []int{60}, feeds: feed("s0", 0, "0.5 mm2", "1 m", "2 A")}
	q := protect(k, 1.5)
	require.InEpsilon(t, far, q.Short, 1e-6)
	require.Equal(t, Place{0, 59}, q.Far)
	require.InDelta(t, 3.0, q.Carries, 1e-9)
	require.Equal(t, "its wire of 0.5 mm2", q.Weakest)
	require.Equal(t, 2.0, q.Advised)
	require.False(t, q.TooSmall() || q.TooLarge() || q.Blind())

	require.True(t, func() bool { q := protect(k, 1.7); return q.TooSmall() }())
	q = protect(k, 2.5) // 4 A would carry it, the wire does not
	require.Zero(t, q.Advised)
	require.Equal(t, "a fuse for this load is above the 3.00 A that its wire of 0.5 mm2 carries", q.Why)

	k.feeds = feed("s0", 0, "0.5 mm2", "1 m", "5 A")
	require.True(t, func() bool { q := protect(k, 1.5); return q.TooLarge() }())

	// A connector and a thin joint are weaker than the wire.
	k.feeds = feed("s0", 0, "2.5 mm2", "1 m", "2 A") + "connector = \"3 A\"\n"
	q = protect(k, 1)
	require.Equal(t, 3.0, q.Carries)
	require.Equal(t, "its connector", q.Weakest)
	two := sketch{strips: []int{60, 60}, feeds: feed("s0", 0, "2.5 mm2", "1 m", "2 A") + joint("s0", 59, "s1", 0, "AWG 26", "1 m", "")}
	q = protect(two, 1)
	require.Equal(t, "the joint of AWG 26 at s0 59", q.Weakest)
	require.InDelta(t, 6*0.1288, q.Carries, 1e-3)
	require.Equal(t, Place{1, 59}, q.Far)

	// A small supply, and a long thin strip, do not open the fuse.
	k.amps, k.feeds = "3 A", feed("s0", 0, "0.5 mm2", "1 m", "2 A")
	q = protect(k, 1.5)
	require.True(t, q.Blind())
	require.Zero(t, q.Advised)
	require.Equal(t, "a short draws 3.00 A, less than twice the smallest fuse for this load", q.Why)
	q = protect(sketch{strips: []int{600}, rails: "0.4 ohm/m", feeds: feed("s0", 0, "0.5 mm2", "1 m", "2 A")}, 1.5)
	require.InEpsilon(t, 12/(0.078+0.4*599.0/60), q.Short, 1e-6)
	require.True(t, q.Blind())

	// Two feeds on one strip: each is looked at with the other's fuse open, while the
	// other's minus wire still carries. A ring is entered from both sides, so its far
	// point is half-way: two halves in parallel.
	both := sketch{strips: []int{61}, feeds: feed("s0", 0, "0.5 mm2", "1 m", "2 A") + feed("s0", 60, "0.5 mm2", "1 m", "2 A")}
	list, err := both.panel(t).Protect([]float64{1, 1})
	require.NoError(t, err)
	require.InEpsilon(t, 12/(0.039+0.1+0.139*0.039/(0.139+0.039)), list[0].Short, 1e-5)
	require.Equal(t, Place{0, 60}, list[0].Far)
	require.Equal(t, Place{0, 0}, list[1].Far)
	ring := sketch{strips: []int{61}, feeds: feed("s0", 0, "0.5 mm2", "1 m", "2 A") + joint("s0", 60, "s0", 0, "16 mm2", "1 mm", "")}
	q = protect(ring, 1)
	require.InEpsilon(t, 12/(0.078+0.05), q.Short, 1e-3)
	require.InDelta(t, 30, q.Far.Pixel, 1)
}

// What a rail carries: 0.08 ohm/m is 0.2155 mm2 of copper, 334 square mils;
// IPC-2221's inner layers allow it 6.1 A for 20 K (worked out by hand).
func TestRailCarries(t *testing.T) {
	require.InDelta(t, 6.1, railCarries(0.08), 0.1)
	p := sketch{strips: []int{10}, feeds: feed("s0", 0, "16 mm2", "1 m", "4 A")}.panel(t)
	p.Machine.Parts[0].RailsCarry = 5_000_000
	q, err := p.Protect([]float64{1})
	require.NoError(t, err)
	require.Equal(t, 5.0, q[0].Carries)
	require.Equal(t, "the rail of strip s0", q[0].Weakest)
}

// Two strips, each fed at its far side by 5 m of 0.5 mm2: the lit one's minus is
// lifted by its current times the wire's 0.195 ohm and half the rail's loop; a lead
// between the grounds takes that away.
func TestGroundShift(t *testing.T) {
	feeds := feed("s0", 0, "0.5 mm2", "5 m", "4 A") + feed("s1", 59, "0.5 mm2", "5 m", "4 A")
	k := sketch{strips: []int{60, 60}, feeds: feeds}
	p := k.panel(t)
	lap := white(p, 255)
	for i := 180; i < 360; i++ {
		lap[0].Frames[0][i] = 0 // the second strip is dark
	}
	s, err := p.Survey(&lap[0])
	require.NoError(t, err)
	const lit, dark = 0.037, 0.001
	rail := 0.1 / 60
	lift := 60*lit*0.195 + lit*rail*59*60/2 - (60*dark*0.195 + dark*rail*59*60/2)
	require.InDelta(t, lift, s.Hops[1].Value, 1e-9)
	require.InDelta(t, 60*lit*0.195, s.Hops[0].Value, 1e-9)
	found := p.Findings([]Seen{{Survey: s, Where: `state "on"`, Clip: "on"}}, nil, nil)
	require.Len(t, found, 1)
	require.Equal(t, finding.Finding{Code: "power.ground_shift", Severity: finding.Warning, Where: `state "on", clip "on", frame 0`,
		Message: "data goes from s0 59 to s1 0 between grounds that differ by 0.53 V, more than a tenth of its 5 V: pixels may misread it",
		Fix:     `a [[joint]] from = ["s0", 59], to = ["s1", 0] with conductors = "minus" beside the data, or feeds nearer to both`}, found[0])
	k.feeds += joint("s0", 59, "s1", 0, "0.5 mm2", "100 mm", `conductors = "minus"`)
	p = k.panel(t)
	s, err = p.Survey(&lap[0])
	require.NoError(t, err)
	require.Less(t, s.Hops[1].Value, 0.01)
	require.Empty(t, p.Findings([]Seen{{Survey: s}}, nil, nil))
}

// Advice on a strip that one feed starves: one more is enough, and where it is best
// is found by trying every pixel; wires alone are not, or the step before is not.
func TestAdvice(t *testing.T) {
	k := sketch{strips: []int{300}, least: "10.5 V", feeds: feed("s0", 0, "1.5 mm2", "2 m", "7.5 A")}
	p := k.panel(t)
	laps := white(p, 70) // 3.3 A
	a, err := p.Advise(laps)
	require.NoError(t, err)
	require.Less(t, a.Now.Low.Margin(), 0.0)
	require.False(t, a.Thicker.Enough())
	require.Equal(t, "16 mm2", a.Thicker.Wires[0].String())
	require.Len(t, a.More.Feeds, 1)
	require.True(t, a.More.Enough())
	require.False(t, a.Greedy)
	best := math.Inf(-1)
	for i := range 300 {
		q := sketch{strips: k.strips, least: k.least, feeds: k.feeds + feed("s0", i, "1.5 mm2", "2 m", "7.5 A")}.panel(t)
		low, _, _, _, err := q.lowest(laps)
		require.NoError(t, err)
		best = max(best, low.Volts)
	}
	require.InDelta(t, best, a.More.Low.Volts, 1e-9)
	require.Len(t, a.Anew.Feeds, 1) // in the middle one is enough
	require.InDelta(t, 150, a.Anew.Feeds[0].Pixel, 2)

	// Short, with a thin wire: the next sizes help.
	k = sketch{strips: []int{60}, least: "11.3 V", feeds: feed("s0", 0, "0.5 mm2", "3 m", "2 A")}
	p = k.panel(t)
	laps = white(p, 255)
	a, err = p.Advise(laps)
	require.NoError(t, err)
	require.False(t, a.Now.Enough())
	require.True(t, a.Thicker.Enough())
	w := a.Thicker.Wires[0]
	k.feeds = feed("s0", 0, w.String(), "3 m", "2 A")
	low, _, _, _, err := k.panel(t).lowest(laps)
	require.NoError(t, err)
	require.InDelta(t, a.Thicker.Low.Volts, low.Volts, 1e-9)
	require.GreaterOrEqual(t, low.Margin(), 0.0)
	f := p.Findings([]Seen{{Survey: Survey{Low: a.Now.Low, At: a.Now.At, Starved: 9, Hops: make([]Peak, 1)}, Where: `state "on"`, Clip: "on"}}, nil, a)
	require.Equal(t, "power.volts_low", f[0].Code)
	require.Contains(t, f[0].Fix, w.String()+" instead of 0.5 mm2")

	// Enough already: nothing to do.
	a, err = sketch{strips: []int{60}, feeds: feed("s0", 0, "1.5 mm2", "1 m", "4 A")}.panel(t).Advise(laps)
	require.NoError(t, err)
	require.True(t, a.Now.Enough())
	require.Empty(t, a.More.Feeds)
	require.Empty(t, a.Thicker.Wires)
	require.Empty(t, a.Anew.Feeds)
}

// The fewest feeds of a panel of three strips, against every choice of one and two
// pixels.
func TestFewestFeedsByTryingAll(t *testing.T) {
	k := sketch{strips: []int{20, 12, 20}, rails: "0.9 ohm/m", least: "11.92 V", feeds: feed("s0", 0, "1.5 mm2", "500 mm", "5 A") +
		joint("s0", 19, "s1", 0, "1 mm2", "60 mm", "") + joint("s1", 11, "s2", 0, "1 mm2", "60 mm", "")}
	k.copper = "temperature = \"20 degC\"\ncontact = \"0 ohm\""
	p := k.panel(t)
	p.Machine.Parts[0].RailsCarry = 9_000_000 // volts decide here, not fuses
	laps := white(p, 255)
	a, err := p.Advise(laps)
	require.NoError(t, err)
	require.False(t, a.Now.Enough())
	one := math.Inf(-1)
	for i := range 52 {
		at := p.Circuit.Place(i)
		q := *p
		m := *p.Machine
		f := m.Feeds[0]
		f.Strip, f.Pixel = p.Layout.Strips[at.Strip].Name, at.Pixel
		m.Feeds = []show.Feed{m.Feeds[0], f}
		q.Machine = &m
		r, err := NewPanel(&m, p.Layout)
		require.NoError(t, err)
		low, _, _, _, err := r.lowest(laps)
		require.NoError(t, err)
		one = max(one, low.Margin())
	}
	require.Less(t, one, 0.0, "one more is not enough")
	require.Len(t, a.More.Feeds, 2)
	require.True(t, a.More.Enough())
}

// Strips that are not joined are looked at apart: six that starve want six feeds, more
// than are tried together, and share a supply whose lead and output sag.
func TestAdviceByIslands(t *testing.T) {
	k := sketch{strips: []int{200, 200, 200, 200, 200, 200}, least: "10.5 V"}
	for i := range k.strips {
		k.feeds += feed(fmt.Sprintf("s%d", i), 0, "1.5 mm2", "2 m", "5 A")
	}
	m, l := k.parse(t)
	m.Supply.Resistance, m.Supply.Wire, m.Supply.Length = 0.002, unit.Wire{Area: 16, Class: 5}, 500
	p, err := NewPanel(m, l)
	require.NoError(t, err)
	laps := white(p, 140)
	a, err := p.Advise(laps)
	require.NoError(t, err)
	require.False(t, a.Now.Enough())
	require.Len(t, a.More.Feeds, 6)
	require.True(t, a.More.Enough())
	for i, at := range a.More.Feeds {
		require.Equal(t, i, at.Strip)
	}
	f := p.Findings([]Seen{{Survey: Survey{Low: a.Now.Low, At: a.Now.At, Hops: make([]Peak, 6)}}}, nil, a)
	require.Contains(t, f[0].Fix, "6 more feeds, which paneglow advise power lists")
}

// A second supply feeds its own strip; a ground lead joins both, a plus may not (the
// machine file's checks refuse it).
func TestTwoSupplies(t *testing.T) {
	text := sketch{strips: []int{60, 60}, feeds: feed("s0", 0, "1 mm2", "1 m", "4 A") + feed("s1", 59, "1 mm2", "1 m", "4 A") +
		joint("s0", 59, "s1", 0, "1 mm2", "100 mm", `conductors = "minus"`)}.text()
	text = strings.Replace(text, "[supply]\n", "[[supply]]\nname = \"a\"\n", 1)
	text = strings.Replace(text, "[wiring]\n", "[[supply]]\nname = \"b\"\nvolts = \"11 V\"\namps = \"4 A\"\n[wiring]\n", 1)
	text = strings.Replace(text, "name = \"s1\"\n", "name = \"s1\"\nsupply = \"b\"\n", 1)
	read := func(text string) *Panel {
		m, found := show.ParseMachine("machine.toml", []byte(text))
		require.NoError(t, found.Err())
		l, err := layout.New(m)
		require.NoError(t, err)
		p, err := NewPanel(m, l)
		require.NoError(t, err)
		return p
	}
	p := read(text)
	require.Empty(t, p.Findings(nil, nil, nil))
	lap := white(p, 200)
	s, err := p.Survey(&lap[0])
	require.NoError(t, err)
	require.InDelta(t, 60*(0.001+0.036*200/255), s.Feeds[0].Value, 1e-9, "each plus carries its own strip")
	require.InDelta(t, 60*(0.001+0.036*200/255), s.Feeds[1].Value, 1e-9)
	require.Equal(t, 1, s.At.Strip, "11 V")
	q, err := p.Protect([]float64{1, 1})
	require.NoError(t, err)
	require.Equal(t, 4.0, q[1].Supply)
	require.True(t, q[1].Blind())
	a, err := p.Advise(lap)
	require.NoError(t, err)
	require.True(t, a.Now.Low.Margin() > 0)
}

// A part that says what its plus rail has.
func TestUnevenRails(t *testing.T) {
	k := sketch{strips: []int{60}, rails: "0.2 ohm/m\"\nplus_rail = \"0.05 ohm/m", feeds: feed("s0", 0, "16 mm2", "1 mm", "4 A")}
	p := k.panel(t)
	r := p.Circuit.Plan().Strips[0].Rails
	require.InDelta(t, 0.05/60, r.Plus, 1e-12)
	require.InDelta(t, 0.15/60, r.Minus, 1e-12)
	lap := white(p, 255)
	s, err := p.Survey(&lap[0])
	require.NoError(t, err)
	require.InDelta(t, 12-0.037*0.2/60*59*60/2, s.Low.Volts, 1e-4)
	q, err := p.Protect([]float64{1})
	require.NoError(t, err)
	require.InDelta(t, railCarries(0.15), q[0].Carries, 1e-9)
}

func TestWithoutOneFeed(t *testing.T) {
	p := sketch{strips: []int{100}, feeds: feed("s0", 0, "1.5 mm2", "1 m", "4 A") + feed("s0", 99, "1.5 mm2", "1 m", "4 A")}.panel(t)
	laps := white(p, 100)
	low, ok, err := p.Without(1, laps)
	require.NoError(t, err)
	require.True(t, ok)
	q := sketch{strips: []int{100}, feeds: feed("s0", 0, "1.5 mm2", "1 m", "4 A")}.panel(t)
	want, _, _, _, err := q.lowest(laps)
	require.NoError(t, err)
	// The open feed's minus wire still helps.
	require.Greater(t, low.Volts, want.Volts)
	require.Less(t, low.Volts, want.Volts+0.5)
	_, ok, err = q.Without(0, laps)
	require.NoError(t, err)
	require.False(t, ok)
}

// A lap is looked at without allocation, once the room for its worst frame is there.
func TestSurveyDoesNotAllocate(t *testing.T) {
	p := sketch{strips: []int{200}, feeds: feed("s0", 0, "1.5 mm2", "1 m", "4 A")}.panel(t)
	v := p.Surveyor([]float64{1})
	codes := white(p, 10)[0].Frames[0]
	require.NoError(t, v.See(codes, 0))
	require.Zero(t, testing.AllocsPerRun(20, func() { _ = v.See(codes, 1) }))
}
