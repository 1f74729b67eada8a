package paneglow_test

import (
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
)

// unwanted are the words that no text of the project holds: promises instead of
// work, places that exist on one machine only, and words of the trade for which
// the screens and the code have plainer ones. They are spelled in halves so that
// this file may hold them.
var unwanted = regexp.MustCompile(`\bTO` + `DO\b|\bFIX` + `ME\b|/ho` + `me/|/ro` + `ot/|/tm` + `p/|local` + `host|127\.0\.` + `0\.1` +
	`|(?i:\b(?:pre` + `set|eff` + `ect|play` + `list|seg` + `ment|sce` + `ne)s?\b)`)

func TestUnwantedWords(t *testing.T) {
	for _, bad := range []string{"// TO" + "DO: later", "cd /tm" + "p/x", "a Sce" + "ne", "eff" + "ects"} {
		require.Regexp(t, unwanted, bad)
	}
	for _, good := range []string{"effective", "/tmpl", "todo list", "obscene"} {
		require.NotRegexp(t, unwanted, good)
	}
	files := 0
	require.NoError(t, filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			// Not the project's texts: history, what is built, and what a failed
			// test leaves.
			if path == ".git" || path == "build" || d.Name() == "rapid" {
				return filepath.SkipDir
			}
			return nil
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if bytes.IndexByte(b, 0) >= 0 {
			return nil // pictures and tables
		}
		files++
		for i, line := range bytes.Split(b, []byte("\n")) {
			if w := unwanted.Find(line); w != nil {
				t.Errorf("%s:%d: holds %q", path, i+1, w)
			}
		}
		return nil
	}))
	require.Greater(t, files, 200, "the project's texts were searched")
}
