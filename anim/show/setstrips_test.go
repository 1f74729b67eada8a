package show

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/unit"
)

// spread is a strip as a careful person writes it: one point a line, each with a
// word beside it.
const spreadPath = `path = [  # as drilled
    ["20 mm", "2 cm"],   # above the feed
    [ "20 mm", "0.2 m" ], # under the lid
  ]`

func spreadMachine() string {
	return strings.Replace(goodMachine, `path = [["20 mm", "20 mm"], ["20 mm", "200 mm"]]`, spreadPath, 1)
}

// Each edit of a path, as the line that stands there afterwards.
func TestSetPath(t *testing.T) {
	for _, c := range []struct {
		name string
		path [][2]unit.Length
		want string
	}{
		{"the same", [][2]unit.Length{{20, 20}, {20, 200}}, spreadPath},
		{"one coordinate", [][2]unit.Length{{20, 20}, {25.5, 200}}, strings.Replace(spreadPath, `[ "20 mm", "0.2 m" ]`, `[ "25.5 mm", "0.2 m" ]`, 1)},
		{"turned round", [][2]unit.Length{{20, 200}, {20, 20}}, `path = [  # as drilled
    [ "20 mm", "0.2 m" ],   # above the feed
    ["20 mm", "2 cm"], # under the lid
  ]`},
		{"one more inside", [][2]unit.Length{{20, 20}, {50, 50}, {20, 200}}, strings.Replace(spreadPath, `"2 cm"],`, `"2 cm"], ["50 mm", "50 mm"],`, 1)},
		{"one more before", [][2]unit.Length{{0, 0}, {20, 20}, {20, 200}}, strings.Replace(spreadPath, `["20 mm", "2`, `["0 mm", "0 mm"], ["20 mm", "2`, 1)},
		{"one more behind", [][2]unit.Length{{20, 20}, {20, 200}, {0.004, 0.005}}, strings.Replace(spreadPath, `"0.2 m" ],`, `"0.2 m" ], ["0 mm", "0.01 mm"],`, 1)},
		{"the last gone", [][2]unit.Length{{20, 20}}, `path = [  # as drilled
    ["20 mm", "2 cm"], # under the lid
  ]`},
		{"the first gone", [][2]unit.Length{{20, 200}}, `path = [  # as drilled
    [ "20 mm", "0.2 m" ], # under the lid
  ]`},
	} {
		t.Run(c.name, func(t *testing.T) {
			src := []byte(spreadMachine())
			kept := slices.Clone(src)
			out, err := SetPath("machine.toml", src, "left", c.path)
			require.NoError(t, err)
			require.Equal(t, strings.Replace(spreadMachine(), spreadPath, c.want, 1), string(out))
			require.Equal(t, kept, src)
		})
	}
}

// Whatever path is written is read again to a hundredth of a millimetre, and no
// other line changes.
func TestSetPathAnywhere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		src := []byte(spreadMachine())
		if rapid.Bool().Draw(t, "crlf") {
			src = bytes.ReplaceAll(src, []byte("\n"), []byte("\r\n"))
		}
		for range rapid.IntRange(1, 4).Draw(t, "edits") {
			path := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) [2]unit.Length {
				at := rapid.OneOf(rapid.SampledFrom([]unit.Length{20, 200}), rapid.Custom(func(t *rapid.T) unit.Length {
					return unit.Length(float64(rapid.IntRange(0, 30000).Draw(t, "hundredths")) / 100)
				}))
				return [2]unit.Length{at.Draw(t, "x"), at.Draw(t, "y")}
			}), 1, 6).Draw(t, "path")
			before, _ := ParseMachine("machine.toml", src)
			out, err := SetPath("machine.toml", src, "left", path)
			if err != nil {
				t.Fatalf("%v: %v", path, err)
			}
			after, _ := ParseMachine("machine.toml", out)
			for i, p := range after.Strip("left").Path {
				for j := range p {
					if d := float64(p[j] - path[i][j]); d > 1e-9 || d < -1e-9 {
						t.Fatalf("point %d is %v, not %v", i, p, path[i])
					}
				}
			}
			after.Strips[0].Path = before.Strips[0].Path
			if !sameMachine(before, after) {
				t.Fatal("something else changed")
			}
			src = out
		}
	})
}

// Marks, pixels and feeds: the lines that change, and no others.
func TestSetStripValues(t *testing.T) {
	set := func(edit func(src []byte) ([]byte, error)) (out []string) {
		text, err := edit([]byte(goodMachine))
		require.NoError(t, err)
		old := strings.Split(goodMachine, "\n")
		for _, line := range strings.Split(string(text), "\n") {
			if len(old) > 0 && line == old[0] {
				old = old[1:]
				continue
			}
			out = append(out, line)
			if len(old) > 0 && strings.SplitN(line, "=", 2)[0] == strings.SplitN(old[0], "=", 2)[0] {
				old = old[1:]
			}
		}
		require.Empty(t, old)
		return out
	}
	require.Equal(t, []string{"pixels = 12"}, set(func(src []byte) ([]byte, error) { return SetPixels("m", src, "left", 12) }))
	require.Equal(t, []string{"hidden = [0, 3, 4]"}, set(func(src []byte) ([]byte, error) { return SetMarks("m", src, "top", "hidden", []int{4, 0, 3, 4}) }))
	require.Equal(t, []string{"missing = []"}, set(func(src []byte) ([]byte, error) { return SetMarks("m", src, "top", "missing", nil) }))
	require.Equal(t, []string{`at = ["top", 4]`}, set(func(src []byte) ([]byte, error) { return SetFeed("m", src, 0, Place{"top", 4}) }))
	require.Equal(t, []string{"[[feed]]", `at = ["top", 1]`, `wire = "0.75 mm2"`, `length = "900 mm"`, `fuse = "4 A"`, ""}, set(func(src []byte) ([]byte, error) { return AddFeed("m", src, 0, Place{"top", 1}) }))
}

// A strip that is added and removed again leaves the file as it was, at any
// line ending, and also where the file ends without one.
func TestAddAndRemoveStrip(t *testing.T) {
	last := strings.Index(goodMachine, "[[strip]]")
	end := strings.Index(goodMachine, "[supply]")
	strips := strings.TrimSpace(goodMachine[last:end])
	atEnd := goodMachine[:last] + goodMachine[end:] + "\n" + strips // strips last, no newline behind
	for name, src := range map[string]string{
		"plain": goodMachine,
		"crlf":  strings.ReplaceAll(goodMachine, "\n", "\r\n"),
		"last":  atEnd,
	} {
		t.Run(name, func(t *testing.T) {
			s := Strip{Name: "flap", Part: "p", Pixels: 3, Path: [][2]unit.Length{{10, 10}, {50, 10}}}
			out, err := AddStrip("m", []byte(src), "a", s)
			require.NoError(t, err)
			m, list := ParseMachine("m", out)
			require.NoError(t, list.Err())
			require.Equal(t, []string{"left", "top", "flap"}, m.Lines[0].Strips)
			require.Equal(t, s.Path, m.Strip("flap").Path)
			if name == "crlf" {
				require.Equal(t, bytes.Count(out, []byte("\n")), bytes.Count(out, []byte("\r\n")))
			}
			back, err := RemoveStrip("m", out, "flap")
			require.NoError(t, err)
			require.Equal(t, strings.TrimSpace(src), strings.TrimSpace(string(back)))
		})
	}
}

// Removing a strip takes its feeds and joints along and keeps comments that stand
// between tables.
func TestRemoveStripWithCopper(t *testing.T) {
	src := strings.Replace(goodMachine, "[[load]]", "# the second feed, since spring\n[[feed]]\nat = [\"top\", 0]\nwire = \"0.75 mm2\"\nlength = \"900 mm\"\nfuse = \"4 A\"\n\n[[joint]]\nfrom = [\"left\", 9]\nto = [\"top\", 0]\nwire = \"0.5 mm2\"\nlength = \"60 mm\"\n\n[[load]]", 1)
	_, list := ParseMachine("m", []byte(src))
	require.NoError(t, list.Err())
	out, err := RemoveStrip("m", []byte(src), "top")
	require.NoError(t, err)
	m, list := ParseMachine("m", out)
	require.NoError(t, list.Err())
	require.Len(t, m.Strips, 1)
	require.Len(t, m.Feeds, 1)
	require.Empty(t, m.Joints)
	require.Contains(t, string(out), "# the second feed, since spring\n")
	out, err = RemoveStrip("m", out, "left")
	require.ErrorContains(t, err, "would carry no strip")
	require.Nil(t, out)
}

// What cannot be written is refused, with the reason.
func TestSetStripsRefuse(t *testing.T) {
	inline := goodMachine[:strings.Index(goodMachine, "[[feed]]")] + goodMachine[strings.Index(goodMachine, "[[load]]"):]
	inline = "feed = [{ at = [\"left\", 0], wire = \"0.75 mm2\", length = \"900 mm\", fuse = \"4 A\" }]\n" + inline
	_, list := ParseMachine("m", []byte(inline))
	require.NoError(t, list.Err())
	strip := func(name, part, line string) error {
		_, err := AddStrip("m", []byte(goodMachine), line, Strip{Name: name, Part: part, Pixels: 1, Path: [][2]unit.Length{{1, 1}}})
		return err
	}
	errOf := func(_ []byte, err error) error { return err }
	src := []byte(goodMachine)
	for i, c := range []struct {
		err   error
		words string
	}{
		{errOf(SetPath("m", src, "lift", nil)), `there is no strip "lift"`},
		{errOf(SetPath("m", src, "left", nil)), "no point"},
		{errOf(SetPath("m", []byte("[[strip]\n"), "left", nil)), "not TOML"},
		{errOf(SetPixels("m", src, "left", 0)), "outside 1 to"},
		{errOf(SetPixels("m", src, "left", MaxPixels+1)), "outside 1 to"},
		{errOf(SetMarks("m", src, "left", "lost", nil)), "hidden or missing"},
		{errOf(SetFeed("m", src, 1, Place{"left", 0})), "no feed 2"},
		{errOf(SetJoint("m", src, 0, Place{}, Place{})), "no joint 1"},
		{errOf(AddFeed("m", src, 3, Place{"left", 0})), "no feed whose wire"},
		{errOf(AddFeed("m", []byte(inline), 0, Place{"left", 3})), "something else"},
		{errOf(RemoveFeed("m", src, 0)), "no feed"},
		{errOf(RemoveStrip("m", src, "lift")), `no strip "lift"`},
		{strip("left", "p", "a"), "already"},
		{strip("left one", "p", "a"), "no name"},
		{strip("", "p", "a"), "no name"},
		{strip("flap", "q", "a"), `no part "q"`},
		{strip("flap", "p", "b"), `no data line "b"`},
	} {
		require.ErrorContains(t, c.err, c.words, fmt.Sprint(i))
	}
}
