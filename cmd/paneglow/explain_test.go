package main

import (
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/patterns"
)

// sourceCodes collects every finding code that the sources use: dotted words in
// quotes, and the last words that anim/script and anim/show put behind a common
// beginning.
func sourceCodes(t *testing.T) map[string]string {
	t.Helper()
	whole := regexp.MustCompile(`"((?:clip|color|commission|controller|glass|layer|layout|link|machine|pattern|photo|picture|power|safety|script|show|table|unit)\.[a-z_]*[a-z])"`)
	script := regexp.MustCompile(`(?:\bwrong\(|\.err\([^"\n]*, |\btell\([^"\n]*, |\.(?:note|hint)\([^"\n]*, )"([a-z_]+)"`)
	unknown := regexp.MustCompile(`\.unknown\([^"\n]*(?:"[^"\n]*"[^"\n]*)*?, "([a-z]+)", `)
	codes := map[string]string{}
	for _, root := range []string{"../../anim", "../../render", "../../controller", "."} {
		require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			b, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			for _, m := range whole.FindAllStringSubmatch(string(b), -1) {
				codes[m[1]] = path
			}
			if strings.Contains(filepath.ToSlash(path), "anim/script/") {
				for _, m := range script.FindAllStringSubmatch(string(b), -1) {
					codes["script."+m[1]] = path
				}
			}
			if strings.Contains(filepath.ToSlash(path), "anim/show/") {
				for _, m := range unknown.FindAllStringSubmatch(string(b), -1) {
					codes["machine.unknown_"+m[1]] = path
				}
			}
			return nil
		}))
	}
	for _, no := range []string{"machine.toml", "show.toml", "glass.scatter", "glass.haze", "glass.lambertian"} { // file names and keys, not codes
		delete(codes, no)
	}
	return codes
}

// Every code that can be told is explained, every explanation belongs to a code,
// and nothing is explained twice.
func TestEveryCodeIsExplained(t *testing.T) {
	codes := sourceCodes(t)
	require.Greater(t, len(codes), 80, "the sources were searched")
	require.Contains(t, codes, "script.seam")
	require.Contains(t, codes, "machine.unknown_load")
	have := map[string]bool{}
	for _, topic := range topics() {
		require.False(t, have[topic.name], "%s is explained twice", topic.name)
		have[topic.name] = true
		require.NotEmpty(t, topic.text, topic.name)
		if strings.Contains(topic.name, ".") && codes[topic.name] == "" {
			t.Errorf("%s is explained and never told", topic.name)
		}
	}
	for code, path := range codes {
		if !have[code] {
			t.Errorf("%s of %s has no entry in explain.md", code, path)
		}
	}
}

func TestExplain(t *testing.T) {
	call := func(args ...string) (string, string, int) {
		var out, errs bytes.Buffer
		code := run(append([]string{"explain"}, args...), &out, &errs)
		return out.String(), errs.String(), code
	}
	for _, name := range append(patterns.Names(), "law", "power.cap_bites") {
		out, _, code := call(name)
		require.Zero(t, code, name)
		require.Contains(t, out, name)
	}
	out, _, code := call()
	require.Zero(t, code)
	require.Contains(t, out, "eaves")
	require.Contains(t, out, "safety.flashes")
	_, errs, code := call("power.cap_bite")
	require.Equal(t, 1, code)
	require.Contains(t, errs, `"power.cap_bites"`)
	_, errs, code = call("a", "b")
	require.Equal(t, 2, code)
	require.Contains(t, errs, "for example")
}
