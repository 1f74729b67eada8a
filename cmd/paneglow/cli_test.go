package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"

	"paneglow/examples"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"paneglow": main})
}

// The command line as a person types it: testdata/script holds one story a file.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script"})
}

// The example of every command works when pasted into an empty folder.
func TestExamplesWork(t *testing.T) {
	exe, err := os.Executable()
	require.NoError(t, err)
	var out, errs bytes.Buffer
	a := &app{out: &out, err: &errs}
	bin := t.TempDir()
	require.NoError(t, os.Symlink(exe, filepath.Join(bin, "paneglow")))
	for _, c := range []*cobra.Command{a.demoCommand(), a.newCommand(), a.checkCommand(), a.renderCommand(), a.exportCommand(), a.inspectCommand(), a.adviseGlassCommand(), a.explainCommand()} {
		t.Run(c.Name(), func(t *testing.T) {
			require.NotEmpty(t, c.Example)
			for line := range strings.SplitSeq(strings.TrimSpace(c.Example), "\n") {
				cmd := exec.Command("sh", "-e", "-c", strings.TrimSpace(line))
				cmd.Dir = t.TempDir()
				cmd.Env = append(os.Environ(), "PATH="+bin+":"+os.Getenv("PATH"))
				said, err := cmd.CombinedOutput()
				require.NoError(t, err, "%s\n%s", line, said)
			}
		})
	}
}

// A table cut at any byte or with any bit flipped gives one error line, never a
// panic: a sample of both through the whole command (render/table tries all).
func TestDamagedTables(t *testing.T) {
	dir := t.TempDir()
	show := filepath.Join(dir, "show")
	require.NoError(t, copyShow(examples.Starter(), show))
	var out, errs bytes.Buffer
	good := filepath.Join(dir, "good.table")
	require.Zero(t, run([]string{"export", show, "-o", good}, &out, &errs), errs.String())
	b, err := os.ReadFile(good)
	require.NoError(t, err)
	bad := filepath.Join(dir, "bad.table")
	for i := 0; i < len(b); i += 37 {
		flipped := bytes.Clone(b)
		flipped[i] ^= 1 << (i % 8)
		for _, damaged := range [][]byte{b[:i], flipped} {
			require.NoError(t, os.WriteFile(bad, damaged, 0o644))
			out.Reset()
			errs.Reset()
			require.Equal(t, 1, run([]string{"inspect", bad}, &out, &errs), "at byte %d", i)
			require.Equal(t, 1, strings.Count(errs.String(), "\n"), errs.String())
			require.Empty(t, out.String())
		}
	}
}
