package sheet

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/examples"
	"paneglow/render/power/wiring"
)

// facts of a machine file, with one bright frame as its only state.
func facts(t *testing.T, text string) *Facts {
	t.Helper()
	m, found := show.ParseMachine("machine.toml", []byte(text))
	require.NoError(t, found.Err())
	l, err := layout.New(m)
	require.NoError(t, err)
	p, err := wiring.NewPanel(m, l)
	require.NoError(t, err)
	frame := make([]uint8, l.Channels())
	dark, err := p.Survey(&wiring.Lap{Frames: [][]uint8{frame}})
	require.NoError(t, err)
	bright := make([]uint8, l.Channels())
	for i := range bright {
		bright[i] = 90
	}
	s, err := p.Survey(&wiring.Lap{State: "on", Frames: [][]uint8{bright}})
	require.NoError(t, err)
	seen := []wiring.Seen{{Survey: s, Where: `state "on"`, Clip: "bright"}}
	protect, err := p.Protect(p.Loads(seen))
	require.NoError(t, err)
	return &Facts{Title: `Q & A <"panel">`, Panel: p, Seen: seen, Dark: dark, Protect: protect, Idle: 0.2, Most: 3.1}
}

func example(t *testing.T, files fs.FS) string {
	t.Helper()
	b, err := fs.ReadFile(files, "machine.toml")
	require.NoError(t, err)
	return string(b)
}

// crowded has 24 strips of long names, 24 feeds, 23 joints, 3 data lines and 12
// loads.
func crowded(t *testing.T) string {
	head, rest, ok := strings.Cut(example(t, examples.Umbrella()), "[[line]]")
	require.True(t, ok)
	_, rest, _ = strings.Cut(rest, "[supply]")
	supply, rest, _ := strings.Cut(rest, "[[feed]]")
	_, tail, _ := strings.Cut(rest, "[controller]")
	var b strings.Builder
	name := func(i int) string { return fmt.Sprintf("strip-of-a-rather-long-name-%02d", i) }
	b.WriteString(head)
	for i := range 3 {
		fmt.Fprintf(&b, "[[line]]\nname = \"line-%d\"\ndriver = \"3.3 V\"\nstrips = [", i)
		for k := range 8 {
			fmt.Fprintf(&b, "%q, ", name(8*i+k))
		}
		b.WriteString("]\n")
	}
	for i := range 24 {
		y := 20 + 55*i
		fmt.Fprintf(&b, "[[strip]]\nname = %q\npart = \"bright12\"\npath = [[\"20 mm\", \"%d mm\"], [\"520 mm\", \"%d mm\"]]\npixels = 31\n", name(i), y, y)
		fmt.Fprintf(&b, "[[feed]]\nat = [%q, %d]\nwire = \"2.5 mm2 class 2\"\nlength = \"12.345 m\"\nfuse = \"7.5 A\"\n", name(i), i)
		if i > 0 {
			fmt.Fprintf(&b, "[[joint]]\nfrom = [%q, 30]\nto = [%q, 0]\nwire = \"1.5 mm2 tinned\"\nlength = \"60 mm\"\n", name(i-1), name(i))
		}
	}
	for i := range 12 {
		fmt.Fprintf(&b, "[[load]]\nname = \"a-load-of-some-rather-long-nam%d\"\namps = \"100 mA\"\nstart = \"250 mA\"\nstall = \"300 mA\"\ncut_off = \"3 s\"\n", i)
	}
	return strings.ReplaceAll(b.String()+"[supply]"+supply+"[controller]"+tail, "strip12", "bright12")
}

// twoSupplies is the demo with its right strip and its carousel on another supply.
func twoSupplies(t *testing.T) string {
	text := example(t, examples.Umbrella())
	for _, c := range [][2]string{
		{"[supply]\n", "[[supply]]\nname = \"light\"\n"},
		{"[wiring]\n", "[[supply]]\nname = \"ring\"\nvolts = \"12 V\"\namps = \"10 A\"\n\n[wiring]\n"},
		{"name = \"right\"\n", "name = \"right\"\nsupply = \"ring\"\n"},
		{"name = \"carousel\" ", "supply = \"ring\"\nname = \"carousel\" "},
		{"from = [\"top\", 25]\n", "conductors = \"minus\"\nfrom = [\"top\", 25]\n"},
	} {
		require.Equal(t, 1, strings.Count(text, c[0]), c[0])
		text = strings.Replace(text, c[0], c[1], 1)
	}
	return text
}

// No text leaves the page or runs into another, whatever the panel holds.
func TestTextsKeepApart(t *testing.T) {
	for name, text := range map[string]string{"starter": example(t, examples.Starter()), "umbrella": example(t, examples.Umbrella()), "two supplies": twoSupplies(t), "crowded": crowded(t)} {
		t.Run(name, func(t *testing.T) {
			b := lay(facts(t, text))
			require.GreaterOrEqual(t, len(b.pages), 2)
			texts := 0
			for k, p := range b.pages {
				for i, a := range p.texts {
					texts++
					require.True(t, a.x0 >= margin-0.1 && a.x1 <= right+0.1 && a.y0 >= 5 && a.y1 <= height-4, "page %d: %q at %v leaves the page", k+1, a.s, a.box)
					for _, c := range p.texts[:i] {
						require.False(t, a.meets(c.box), "page %d: %q at %v runs into %q at %v", k+1, a.s, a.box, c.s, c.box)
					}
				}
			}
			require.Greater(t, texts, 60)
		})
	}
}

// Every page is well-formed XML of A4, and the same again; every feed, joint, hop and
// load of the machine is on it.
func TestPages(t *testing.T) {
	f := facts(t, example(t, examples.Umbrella()))
	pages := Wiring(f)
	require.Equal(t, pages, Wiring(f))
	all := ""
	for _, p := range pages {
		all += string(p)
		d := xml.NewDecoder(strings.NewReader(string(p)))
		elements := 0
		for {
			tok, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(t, err)
			if _, ok := tok.(xml.StartElement); ok {
				elements++
			}
		}
		require.Greater(t, elements, 50)
		require.Contains(t, string(p), `width="210mm" height="297mm" viewBox="0 0 210 297"`)
	}
	for _, want := range []string{
		"F1  4 A", "F2  4 A", "0.75 mm2, 900 mm", "0.75 mm2, 1.3 m", "left 0-76", "J1  0.75 mm2, 60 mm", "carousel", "starts with 4.8 A", "330 ohm", "buffer",
		"grounds differ by up to", "data a", "Q &amp; A &lt;&#34;panel&#34;&gt;", "Order of work", "Symptoms", "Caution. Local codes",
		"ballast keeps its charge", "lamps go to recycling", "1000 uF",
	} {
		require.Contains(t, all, want)
	}
	// The figures are those of the surveys.
	require.Contains(t, all, fmt.Sprintf("%.2f V", f.Seen[0].Low.Volts-0.004))
	require.Contains(t, all, fmt.Sprintf("up to %.2f A", f.Protect[0].Load+0.005))
	if dir := os.Getenv("SHEET_DIR"); dir != "" { // to be looked at
		for name, text := range map[string]string{"two": twoSupplies(t), "crowded": crowded(t), "starter": example(t, examples.Starter())} {
			for i, p := range Wiring(facts(t, text)) {
				require.NoError(t, os.WriteFile(filepath.Join(dir, fmt.Sprintf("%s-%d.svg", name, i+1)), p, 0o644))
			}
		}
	}
}

// Each feed and load hangs below its own supply, and a ground lead has no plus.
func TestSeveralSupplies(t *testing.T) {
	page := string(Wiring(facts(t, twoSupplies(t)))[0])
	light, ring, ok := strings.Cut(page, "supply ring: 12 V, 10 A")
	require.True(t, ok)
	require.Contains(t, light, "supply light: 12 V, 8.3 A")
	require.Contains(t, light, "F1  4 A")
	require.Contains(t, light, ">fan<")
	require.NotContains(t, light, ">carousel<")
	require.Contains(t, ring, "F2  4 A")
	require.Contains(t, ring, ">carousel<")
	require.Contains(t, ring, "its minus joins the first one")
}

func TestWrap(t *testing.T) {
	for _, s := range []string{"", "a", "one two three four five six seven", strings.Repeat("w", 90), "ä " + strings.Repeat("ö", 60)} {
		for _, most := range []float64{3, 10, 40} {
			lines := wrap(s, 2.4, most)
			require.NotEmpty(t, lines)
			for _, l := range lines {
				require.LessOrEqual(t, wide(l, 2.4), max(most, wide("w", 2.4)), "%q", l)
			}
			require.Equal(t, strings.ReplaceAll(s, " ", ""), strings.ReplaceAll(strings.Join(lines, ""), " ", ""))
		}
	}
	require.Equal(t, "short", short("short", 2.4, 40))
	require.LessOrEqual(t, wide(short(strings.Repeat("long ", 30), 2.4, 20), 2.4), 20.0)
}
