package wiring

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
)

// graph is a plan as a plain list of resistors, one node for each end of each: the
// slow obvious twin. It knows nothing of spans and knots.
type graph struct {
	plan  Plan
	res   []resistor
	nodes map[string]int // without "0", the ground
	names []string
}

type resistor struct {
	a, b string
	ohms float64
}

func (g *graph) node(s string) string {
	if s != "0" {
		if _, ok := g.nodes[s]; !ok {
			g.nodes[s] = len(g.names)
			g.names = append(g.names, s)
		}
	}
	return s
}

func (g *graph) add(a, b string, ohms float64) {
	if !math.IsInf(ohms, 1) {
		g.res = append(g.res, resistor{g.node(a), g.node(b), ohms})
	}
}

func (at Place) rail(sign string) string { return fmt.Sprintf("%s_%d_%d", sign, at.Strip, at.Pixel) }

// newGraph names every supply's EMF "v_k", its terminal "t_k", its forks "fp_k"
// and "fm_k". Where a resistance is 0, both its ends have one name.
func newGraph(p Plan) *graph {
	g := &graph{plan: p, nodes: map[string]int{}}
	term, fork := make([]string, len(p.Supplies)), make([][2]string, len(p.Supplies))
	for k, s := range p.Supplies {
		term[k] = g.node(fmt.Sprintf("v_%d", k))
		if s.Output > 0 {
			g.add(term[k], fmt.Sprintf("t_%d", k), s.Output)
			term[k] = fmt.Sprintf("t_%d", k)
		}
		fork[k] = [2]string{term[k], "0"}
		if s.Lead.Plus > 0 {
			g.add(term[k], fmt.Sprintf("fp_%d", k), s.Lead.Plus)
			fork[k][0] = fmt.Sprintf("fp_%d", k)
		}
		if s.Lead.Minus > 0 {
			g.add("0", fmt.Sprintf("fm_%d", k), s.Lead.Minus)
			fork[k][1] = fmt.Sprintf("fm_%d", k)
		}
	}
	for s, st := range p.Strips {
		for i := 1; i < st.Pixels; i++ {
			g.add(Place{s, i - 1}.rail("p"), Place{s, i}.rail("p"), st.Rails.Plus)
			g.add(Place{s, i - 1}.rail("m"), Place{s, i}.rail("m"), st.Rails.Minus)
		}
		g.node(Place{s, 0}.rail("p"))
		g.node(Place{s, 0}.rail("m"))
	}
	for _, f := range p.Feeds {
		g.add(fork[f.Supply][0], f.At.rail("p"), f.Wire.Plus)
		g.add(fork[f.Supply][1], f.At.rail("m"), f.Wire.Minus)
	}
	for _, j := range p.Joints {
		g.add(j.From.rail("p"), j.To.rail("p"), j.Wire.Plus)
		g.add(j.From.rail("m"), j.To.rail("m"), j.Wire.Minus)
	}
	return g
}

// dense solves by gonum's dense LU, with rounds for pixels that starve. It gives
// all node potentials.
func (g *graph) dense(t require.TestingT, draw []int64, other []float64) map[string]float64 {
	n := len(g.names)
	volts := map[string]float64{}
	starve := map[Place]bool{}
	for range 200 {
		m, b := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
		stamp := func(x, y string, cond float64) {
			for _, e := range [][2]string{{x, y}, {y, x}} {
				if e[0] == "0" {
					continue
				}
				i := g.nodes[e[0]]
				m.Set(i, i, m.At(i, i)+cond)
				if e[1] != "0" {
					m.Set(i, g.nodes[e[1]], m.At(i, g.nodes[e[1]])-cond)
				}
			}
		}
		for _, r := range g.res {
			stamp(r.a, r.b, 1/r.ohms)
		}
		take := func(name string, amps float64) {
			if name != "0" {
				i := g.nodes[name]
				b.SetVec(i, b.AtVec(i)-amps)
			}
		}
		g.each(func(at Place, pixel int, least float64) {
			amps := float64(draw[pixel]) / Ampere
			if starve[at] {
				stamp(at.rail("p"), at.rail("m"), amps/least)
				return
			}
			take(at.rail("p"), amps)
			take(at.rail("m"), -amps)
		})
		for k, amps := range other {
			if _, ok := g.nodes[fmt.Sprintf("t_%d", k)]; ok {
				take(fmt.Sprintf("t_%d", k), amps)
			}
		}
		for k, s := range g.plan.Supplies { // a known potential: its row says so
			i := g.nodes[fmt.Sprintf("v_%d", k)]
			for j := range n {
				m.Set(i, j, 0)
			}
			m.Set(i, i, 1)
			b.SetVec(i, s.Volts)
		}
		var x mat.VecDense
		require.NoError(t, x.SolveVec(m, b))
		for name, i := range g.nodes {
			volts[name] = x.AtVec(i)
		}
		volts["0"] = 0
		news := false
		g.each(func(at Place, pixel int, least float64) {
			v := volts[at.rail("p")] - volts[at.rail("m")]
			if now := v < least && draw[pixel] > 0; now != starve[at] && math.Abs(v-least) > 1e-9 {
				starve[at], news = now, true
			}
		})
		if !news {
			return volts
		}
	}
	require.Fail(t, "the twin found no steady voltages")
	return nil
}

func (g *graph) each(f func(at Place, pixel int, least float64)) {
	pixel := 0
	for s, st := range g.plan.Strips {
		for i := range st.Pixels {
			f(Place{s, i}, pixel, st.Least)
			pixel++
		}
	}
}

// netlist is the graph for ngspice. A pixel is a current source whose current
// depends on its own voltage, as Circuit says.
func (g *graph) netlist(draw []int64) string {
	var b strings.Builder
	b.WriteString("a panel's copper\n.options reltol=1e-9 abstol=1e-13 vntol=1e-11 gmin=1e-15 itl1=500\n")
	for k, s := range g.plan.Supplies {
		fmt.Fprintf(&b, "V%d v_%d 0 DC %.17g\n", k, k, s.Volts)
	}
	for i, r := range g.res {
		fmt.Fprintf(&b, "R%d %s %s %.17g\n", i, r.a, r.b, r.ohms)
	}
	g.each(func(at Place, pixel int, least float64) {
		p, m := at.rail("p"), at.rail("m")
		if draw[pixel] > 0 {
			fmt.Fprintf(&b, "B%d %s %s I = %.17g * min(1, max(0, v(%s,%s) / %.17g))\n", pixel, p, m, float64(draw[pixel])/Ampere, p, m, least)
		}
	})
	b.WriteString(".control\nset numdgt=12\nop\nprint all\nquit 0\n.endc\n.end\n")
	return b.String()
}

// needNgspice looks for the simulator; without it a test is skipped, which fails
// where CI is set.
func needNgspice(t *testing.T) string {
	exe, err := exec.LookPath("ngspice")
	if err != nil {
		t.Skip("ngspice is not installed: apt-get install ngspice")
	}
	return exe
}

var printed = regexp.MustCompile(`(?m)^([a-z]+_[0-9_]+) = ([-+0-9.e]+)$`)

func (g *graph) ngspice(t *testing.T, exe string, draw []int64) map[string]float64 {
	t.Helper()
	file := filepath.Join(t.TempDir(), "panel.cir")
	require.NoError(t, os.WriteFile(file, []byte(g.netlist(draw)), 0o644))
	out, err := exec.Command(exe, "-b", file).CombinedOutput()
	require.NoError(t, err, "%s", out)
	volts := map[string]float64{"0": 0}
	for _, m := range printed.FindAllStringSubmatch(string(out), -1) {
		v, err := strconv.ParseFloat(m[2], 64)
		require.NoError(t, err)
		volts[m[1]] = v
	}
	for _, name := range g.names {
		require.Contains(t, volts, name, "%s", out)
	}
	return volts
}

// agree compares every voltage, minus potential, feed current and the loss with a
// twin's node potentials: within a share of the supply's volts and of the feed's
// current.
func (g *graph) agree(t require.TestingT, s *Solver, twin map[string]float64, within float64) {
	volts := make([]float64, s.c.pixels)
	s.Volts(volts)
	most := 0.0
	for _, k := range g.plan.Supplies {
		most = math.Max(most, k.Volts)
	}
	low, lowest := math.Inf(1), -1
	g.each(func(at Place, pixel int, least float64) {
		want := twin[at.rail("p")] - twin[at.rail("m")]
		require.InDelta(t, want, volts[pixel], within*most, "pixel %d of strip %d", at.Pixel, at.Strip)
		require.InDelta(t, volts[pixel], s.At(at), 1e-9)
		require.InDelta(t, twin[at.rail("m")], s.Minus(at), within*most, "minus of pixel %d of strip %d", at.Pixel, at.Strip)
		if want-least < low {
			low, lowest = want-least, pixel
		}
	})
	got := s.Lowest()
	require.InDelta(t, low, got.Margin(), within*most, "the lowest is pixel %d, not %d", lowest, got.Pixel)
	require.InDelta(t, volts[got.Pixel], got.Volts, 1e-9)
	fork := func(k int) string {
		name := fmt.Sprintf("v_%d", k)
		if g.plan.Supplies[k].Output > 0 {
			name = fmt.Sprintf("t_%d", k)
		}
		if g.plan.Supplies[k].Lead.Plus > 0 {
			name = fmt.Sprintf("fp_%d", k)
		}
		return name
	}
	total := 0.0
	for i := range g.plan.Feeds {
		total += math.Abs(s.Feed(i))
	}
	for i, f := range g.plan.Feeds {
		want := (twin[fork(f.Supply)] - twin[f.At.rail("p")]) / f.Wire.Plus
		// A current is a difference of potentials: the twin's digits bound it.
		require.InDelta(t, want, s.Feed(i), within*total+1e-10/f.Wire.Plus, "feed %d", i)
	}
	heat := 0.0
	for _, r := range g.res {
		d := twin[r.a] - twin[r.b]
		heat += d * d / r.ohms
	}
	require.InDelta(t, heat, s.Loss(), 2*within*(heat+s.Light())+1e-10, "loss") // a small difference of large powers
}
