package proof_test

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/render/proof"
	"paneglow/render/table"
	"paneglow/render/table/tabletest"
)

// checker runs tools/recount.py on a table, a machine file and a certificate.
type checker struct {
	t      *testing.T
	python string
	dir    string
}

func newChecker(t *testing.T) *checker {
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("no python3 here: the certificate was not counted again")
	}
	return &checker{t, python, t.TempDir()}
}

// run gives the checker's output and whether it agreed.
func (c *checker) run(tab []byte, machine string, cert []byte) (string, bool) {
	c.t.Helper()
	args := []string{filepath.Join("..", "..", "tools", "recount.py")}
	for name, b := range map[string][]byte{"1.table": tab, "2.toml": []byte(machine), "3.json": cert} {
		require.NoError(c.t, os.WriteFile(filepath.Join(c.dir, name), b, 0o644))
	}
	for _, name := range []string{"1.table", "2.toml", "3.json"} {
		args = append(args, filepath.Join(c.dir, name))
	}
	out, err := exec.Command(c.python, args...).CombinedOutput()
	return string(out), err == nil
}

func written(t require.TestingT, c *proof.Certificate) []byte {
	var b bytes.Buffer
	require.NoError(t, c.Write(&b))
	return b.Bytes()
}

// drawn gives tables of fixed seeds that can be certified, with several of
// everything among them.
func drawn(t *testing.T, n int) (tabs []*table.Table, certs []*proof.Certificate) {
	gen := rapid.Custom(tabletest.Draw)
	long := 0 // clips of 256 frames take the checker a second each
	for seed := 0; len(tabs) < n; seed++ {
		tab := gen.Example(seed)
		frames := 0
		for _, c := range tab.Clips {
			frames += c.Frames
		}
		if len(tab.Loads) == 0 || frames > 100 && long == 1 {
			continue
		}
		cert, err := proof.Of(tab)
		if err != nil {
			continue
		}
		if frames > 100 {
			long++
		}
		tabs, certs = append(tabs, tab), append(certs, cert)
	}
	return tabs, certs
}

// The checker, which shares no code with this package, agrees on tables under
// all laws, of three and four dies, on one supply and on two, with slews,
// missing pixels, levels and still states.
func TestRecountAgrees(t *testing.T) {
	c := newChecker(t)
	tabs, certs := drawn(t, 14)
	laws, supplies, slews, four, levels := map[uint8]int{}, 0, 0, 0, 0
	for i, tab := range tabs {
		out, ok := c.run(tab.Bytes(), tabletest.Machine(&tab.Show), written(t, certs[i]))
		require.True(t, ok, out)
		require.Contains(t, out, fmt.Sprintf("%d rows", len(certs[i].Rows)))
		for _, p := range tab.Parts {
			laws[uint8(p.Law)]++
			four += p.Dies / 4
		}
		supplies += len(tab.Further)
		levels += len(tab.Levels)
		if tab.Slew > 0 {
			slews++
		}
	}
	require.Len(t, laws, 3)
	for what, n := range map[string]int{"further supplies": supplies, "slews": slews, "parts of four dies": four, "levels": levels} {
		require.Positive(t, n, what)
	}
}

// A certificate that says anything else than what is counted is refused, and so
// is a table or a machine file that is not the one it was made from.
func TestRecountRefuses(t *testing.T) {
	c := newChecker(t)
	tabs, certs := drawn(t, 2)
	tab, cert := tabs[1], certs[1]
	machine, whole := tabletest.Machine(&tab.Show), written(t, cert)
	out, ok := c.run(tab.Bytes(), machine, whole)
	require.True(t, ok, out)

	refuse := func(what, says string, b []byte, machine string, cert []byte) {
		t.Helper()
		out, ok := c.run(b, machine, cert)
		require.False(t, ok, "%s was accepted", what)
		require.Contains(t, out, "recount: ", what)
		require.Contains(t, out, says, what)
	}
	forged := func(change func(c *proof.Certificate)) []byte {
		var copied proof.Certificate
		require.NoError(t, json.Unmarshal(whole, &copied))
		change(&copied)
		return written(t, &copied)
	}
	// A flipped bit: in the header, in a clip, in the notes.
	for what, at := range map[string]int{"the header": 20, "clip": tab.Clips[0].Offset + 1, "the notes": len(tab.Bytes()) - 5} {
		flipped := bytes.Clone(tab.Bytes())
		flipped[at] ^= 4
		refuse("a flipped bit in "+what, "the CRC of "+what, flipped, machine, whole)
	}
	// A flipped bit with its block's CRC made right again: another clip.
	info := tab.Clips[0]
	payload := bytes.Clone(tab.Bytes())
	payload[info.Offset+info.Length-1] ^= 1
	binary.LittleEndian.PutUint32(payload[info.Offset+info.Length:], crc32.ChecksumIEEE(payload[info.Offset:info.Offset+info.Length]))
	_, ok = c.run(payload, machine, whole)
	require.False(t, ok, "a sealed change of codes was accepted")
	// A lowered budget: the supply gives less than the table was made for.
	amps := fmt.Sprintf("\"%d uA\"", tab.Surge)
	lower := strings.Replace(machine, "amps = "+amps, fmt.Sprintf("amps = \"%d uA\"", tab.Surge*9/10), 1)
	require.NotEqual(t, machine, lower)
	refuse("a smaller supply", "the machine file", tab.Bytes(), lower, whole)
	// A load that draws more, a part that does, a pixel that is not there.
	load := fmt.Sprintf("name = %q\namps = \"%d uA\"", tab.Loads[0].Name, tab.Loads[0].Run)
	require.Contains(t, machine, load)
	refuse("a larger load", "the machine file", tab.Bytes(), strings.Replace(machine, load, load[:len(load)-4]+"1 uA\"", 1), whole)
	refuse("another part", "part p", tab.Bytes(), strings.Replace(machine, "red = \"", "red = \"1", 1), whole)
	refuse("another strip", "strips", tab.Bytes(), strings.Replace(machine, "pixels = ", "pixels = 1", 1), whole)
	// A forged certificate.
	refuse("a lower current", "rows", tab.Bytes(), machine, forged(func(c *proof.Certificate) { c.Rows[len(c.Rows)/2].Draws-- }))
	refuse("a higher budget", "rows", tab.Bytes(), machine, forged(func(c *proof.Certificate) { c.Rows[3].Budget++ }))
	refuse("a missing row", "rows", tab.Bytes(), machine, forged(func(c *proof.Certificate) { c.Rows = c.Rows[1:] }))
	refuse("a row too many", "rows", tab.Bytes(), machine, forged(func(c *proof.Certificate) { c.Rows = append(c.Rows, c.Rows[0]) }))
	refuse("another frame's current", "clips", tab.Bytes(), machine, forged(func(c *proof.Certificate) { c.Clips[0].Current[0]++ }))
	refuse("another table's", "table_crc", tab.Bytes(), machine, forged(func(c *proof.Certificate) { c.CRC = "00000000" }))
}

// The checker stays small enough to be read.
func TestRecountIsShort(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("..", "..", "tools", "recount.py"))
	require.NoError(t, err)
	require.Less(t, bytes.Count(b, []byte("\n")), 200)
	require.NotContains(t, string(b), "import paneglow")
}
