package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/png"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"

	"paneglow/controller/boardtest"
	"paneglow/examples"
	"paneglow/render/prove"
	"paneglow/render/table"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"paneglow": main})
}

// The command line as a person types it: testdata/script holds one story a file.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script", Cmds: map[string]func(*testscript.TestScript, bool, []string){
		"exits": exits, "picture": drawPicture, "report": readReport, "tidy": tidy, "board": buildBoard, "says": saysTo,
	}})
}

// exits runs a command and looks at its exit code: exits 2 paneglow check.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND")
	}
	got := 0
	err := ts.Exec(args[1], args[2:]...)
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit):
		got = exit.ExitCode()
	case err != nil:
		ts.Fatalf("%v", err)
	}
	if strconv.Itoa(got) != args[0] {
		ts.Fatalf("exits with %d, not with %s", got, args[0])
	}
}

// drawPicture writes a PNG of one gray: picture FILE WIDTH HEIGHT CODE.
func drawPicture(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 4 {
		ts.Fatalf("usage: picture FILE WIDTH HEIGHT CODE")
	}
	var n [3]int
	for i := range n {
		v, err := strconv.Atoi(args[i+1])
		ts.Check(err)
		n[i] = v
	}
	img := image.NewGray(image.Rect(0, 0, n[0], n[1]))
	for i := range img.Pix {
		img.Pix[i] = uint8(n[2])
	}
	var b bytes.Buffer
	ts.Check(png.Encode(&b, img))
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), b.Bytes(), 0o644))
}

// readReport parses what check --json printed, and wants every field known and
// every refresh within its budget: report stdout.
func readReport(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: report FILE")
	}
	d := json.NewDecoder(strings.NewReader(ts.ReadFile(args[0])))
	d.DisallowUnknownFields()
	var r struct {
		prove.Report
		Findings []struct{ Code, Severity, Where, Message, Fix string } `json:"findings"` // a severity is a word here
	}
	ts.Check(d.Decode(&r))
	if d.More() {
		ts.Fatalf("more than one value was printed")
	}
	if len(r.Clips) == 0 || len(r.States) == 0 || r.Refreshes == 0 || r.Fullest <= 0 || r.Fullest > 1 {
		ts.Fatalf("not a whole report: %+v", r)
	}
	for _, f := range r.Findings {
		if f.Code == "" || f.Message == "" || f.Severity == "" || f.Severity == "error" {
			ts.Fatalf("not a finding of a good show: %+v", f)
		}
	}
	for _, s := range r.States {
		if s.Peak > s.Budget {
			ts.Fatalf("state %s draws %d of %d mA", s.Name, s.Peak, s.Budget)
		}
	}
}

// buildBoard builds a controller for a table's panel and names what opens a line to
// it: board VARIABLE TABLE.
func buildBoard(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 || len(args) > 3 {
		ts.Fatalf("usage: board VARIABLE TABLE [BUILT-IN]")
	}
	builtIn := ""
	if len(args) == 3 {
		builtIn = ts.MkAbs(args[2])
	}
	tab, err := table.Read([]byte(ts.ReadFile(args[1])), table.Limits{})
	ts.Check(err)
	dir := ts.MkAbs(args[0])
	ts.Check(os.Mkdir(dir, 0o777))
	program, err := boardtest.Build(dir, &tab.Show)
	ts.Check(err)
	ts.Setenv(args[0], boardtest.In(dir, program, builtIn).Target())
}

// saysTo says a line to a keeper's socket until the answer, or a line that comes
// unasked, is like a pattern: says SOCKET LINE PATTERN.
func saysTo(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: says SOCKET LINE PATTERN")
	}
	like := regexp.MustCompile(args[2])
	var heard []string
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		c, err := net.Dial("unix", ts.MkAbs(args[0]))
		if err != nil {
			heard = []string{err.Error()}
			continue
		}
		fmt.Fprintln(c, args[1])
		_ = c.SetReadDeadline(time.Now().Add(2 * time.Second))
		for lines := bufio.NewScanner(c); lines.Scan(); {
			heard = append(heard, lines.Text())
			if like.MatchString(lines.Text()) {
				c.Close()
				return
			}
			if strings.HasPrefix(lines.Text(), "no") || strings.HasPrefix(lines.Text(), "{") {
				break // again, with another word of the keeper
			}
		}
		c.Close()
	}
	ts.Fatalf("said %q, wanted %q, heard %q", args[1], args[2], heard)
}

// tidy wants a folder without half-written files, which begin with a dot.
func tidy(ts *testscript.TestScript, neg bool, args []string) {
	for _, dir := range args {
		entries, err := os.ReadDir(ts.MkAbs(dir))
		ts.Check(err)
		for _, e := range entries {
			if strings.HasPrefix(e.Name(), ".") && e.Name() != ".tmp" { // .tmp is the script's own
				ts.Fatalf("%s was left in %s", e.Name(), dir)
			}
		}
	}
}

// The example of every command works when pasted into an empty folder.
func TestExamplesWork(t *testing.T) {
	exe, err := os.Executable()
	require.NoError(t, err)
	var out, errs bytes.Buffer
	a := &app{out: &out, err: &errs}
	bin := t.TempDir()
	require.NoError(t, os.Symlink(exe, filepath.Join(bin, "paneglow")))
	for _, c := range []*cobra.Command{a.demoCommand(), a.newCommand(), a.checkCommand(), a.renderCommand(), a.exportCommand(), a.inspectCommand(), a.adviseGlassCommand(), a.advisePowerCommand(), a.adviseEnergyCommand(), a.reportCommand(), a.fitCurrentCommand(), a.fitGlassCommand(), a.explainCommand()} {
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

// The first show of README.md works as it stands there.
func TestReadmeCommandsWork(t *testing.T) {
	page, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	_, rest, ok := strings.Cut(string(page), "## Your own show in a minute\n")
	require.True(t, ok)
	rest, _, _ = strings.Cut(rest, "\n## ")
	exe, err := os.Executable() // called paneglow, it is paneglow: see TestMain
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, os.Mkdir(filepath.Join(dir, "build"), 0o755))
	require.NoError(t, os.Symlink(exe, filepath.Join(dir, "build", "paneglow")))
	commands := 0
	for line := range strings.SplitSeq(rest, "\n") {
		command, ok := strings.CutPrefix(line, "    ")
		if !ok {
			continue
		}
		commands++
		cmd := exec.Command("sh", "-e", "-c", command)
		cmd.Dir = dir
		said, err := cmd.CombinedOutput()
		require.NoError(t, err, "%s\n%s", command, said)
	}
	require.Greater(t, commands, 4)
	for _, made := range []string{"rest.png", "busy.png", "panel.table"} {
		require.FileExists(t, filepath.Join(dir, "my-panel", made))
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
