package paneglow_test

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/finding"
	"paneglow/anim/script"
	"paneglow/anim/show"
	"paneglow/patterns"
)

// Every key that the files know stands in docs/files.md: asked of the parsers
// themselves, which list what they know beside a key that they do not.
func TestEveryKeyIsDocumented(t *testing.T) {
	page, err := os.ReadFile("docs/files.md")
	require.NoError(t, err)
	const q = "zzzzzzzzz=1\n"
	machine := "[panel]\n" + q + "glass={zzzzzzzzz=1}\nroom={zzzzzzzzz=1}\n[[part]]\n" + q + "current={zzzzzzzzz=1}\nvolts={zzzzzzzzz=1}\nlight={zzzzzzzzz=1}\ndata={zzzzzzzzz=1}\n[[line]]\n" + q +
		"[[strip]]\n" + q + "stretches=[{zzzzzzzzz=1}]\n[supply]\nslew={zzzzzzzzz=1}\n" + q + "[wiring]\n" + q + "[[feed]]\n" + q + "[[joint]]\n" + q + "[[load]]\n" + q + "[[sensor]]\n" + q + "[controller]\n" + q
	design := q + "[host]\n" + q + "[[clip]]\n" + q + "[[clip.layer]]\n" + q + "[[state]]\n" + q + "[[level]]\n" + q
	_, a := show.ParseMachine("machine.toml", []byte(machine))
	_, b := show.ParseShow("show.toml", []byte(design))
	keys := 0
	for _, f := range append(append(finding.List{}, a...), b...) {
		_, known, ok := strings.Cut(f.Fix, "known here: ")
		if f.Code != "show.unknown_key" || !ok {
			continue
		}
		for key := range strings.SplitSeq(known, ", ") {
			keys++
			if !regexp.MustCompile(`\b` + key + `\b`).Match(page) {
				t.Errorf("docs/files.md does not mention %s (%s)", key, f.Message)
			}
		}
	}
	require.Greater(t, keys, 80)
}

// The pattern on the page is the one that ships, and it runs.
func TestPatternOnThePage(t *testing.T) {
	page, err := os.ReadFile("docs/patterns.md")
	require.NoError(t, err)
	_, rest, ok := strings.Cut(string(page), "```python\n")
	require.True(t, ok)
	code, _, ok := strings.Cut(rest, "```")
	require.True(t, ok)
	p, err := script.Load("page.star", []byte(code))
	require.NoError(t, err)
	require.Len(t, p.Controls(), 2)
	shipped, ok := patterns.Source("eaves")
	require.True(t, ok)
	require.Equal(t, strings.TrimSpace(string(shipped)), strings.TrimSpace(code))
}
