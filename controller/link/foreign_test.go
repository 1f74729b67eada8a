package link

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/linetest"
)

func page(t *testing.T) string {
	b, err := os.ReadFile("../../docs/link.md")
	require.NoError(t, err)
	return string(b)
}

// block is the page's code in a language.
func block(t *testing.T, language string) []byte {
	_, rest, ok := strings.Cut(page(t), "```"+language+"\n")
	require.True(t, ok, language)
	code, _, ok := strings.Cut(rest, "```")
	require.True(t, ok, language)
	require.LessOrEqual(t, strings.Count(code, "\n"), 12, "ten lines, and two to include something")
	return []byte(code)
}

// The worked bytes and the names of the kinds on the page are the program's.
func TestThePage(t *testing.T) {
	text := page(t)
	require.Contains(t, text, fmt.Sprintf("\n    % x\n", Append(nil, Frame{State, 7, StateBody(4)})))
	require.Contains(t, text, fmt.Sprintf("CRC 0x%04X;", CRC([]byte{2, 7, 4})))
	require.Contains(t, text, "42 ms\nat 115200 baud")
	require.Equal(t, 42*time.Millisecond, FrameTime(115200).Truncate(time.Millisecond))
	rows := regexp.MustCompile(`(?m)^\| ([0-9a-f]{2}) \| (\w+) \|`).FindAllStringSubmatch(text, -1)
	got := map[string]string{}
	for _, r := range rows {
		got[r[1]] = r[2]
	}
	want := map[string]string{}
	for name, k := range map[string]Kind{"hello": Hello, "state": State, "value": Value, "level": Level, "clock": Clock, "load": Load,
		"loads": Loads, "alive": Alive, "counters": Counters, "pass": Pass, "granted": Granted, "begin": Begin, "block": Block, "copy": Copy, "verify": Verify, "switch": Switch, "read": Read,
		"service": Service, "probe": Probe, "log": Log, "stream": Stream, "want": Want, "open": OpenStream, "close": CloseStream, "dead": Dead} {
		want[fmt.Sprintf("%02x", uint8(k))] = name
	}
	require.Equal(t, want, got)
	for i, w := range statusWords {
		if i > 0 {
			require.Contains(t, strings.ReplaceAll(text, "\n", " "), fmt.Sprintf("%d %s", i, strings.TrimSuffix(w, " of message")))
		}
	}
}

// need finds a program of another maker, or tells what was not tried.
func need(t *testing.T, what string, names ...string) string {
	for _, n := range names {
		if p, err := exec.LookPath(n); err == nil {
			return p
		}
	}
	t.Skipf("NOT TRIED: %s, there is no %s", what, names[0])
	return ""
}

// said runs a program that says something on a line, and gives what came.
func said(t *testing.T, program func(line string, n int) *exec.Cmd) {
	near, far := linetest.Pair(t)
	setUp(t, far)
	in, err := os.OpenFile(near, os.O_RDWR, 0)
	require.NoError(t, err)
	defer in.Close()
	got := make(chan Frame, 4)
	go func() {
		s := Splitter{Frame: func(f Frame) { got <- f }, Text: func(b []byte) { t.Errorf("text %q", b) }}
		buf := make([]byte, 256)
		for {
			n, err := in.Read(buf)
			s.Write(buf[:n], time.Now())
			if err != nil {
				return
			}
		}
	}()
	for _, n := range []int{0, 4, 120} {
		out, err := program(far, n).CombinedOutput()
		require.NoError(t, err, string(out))
		// The sign of life makes the state a question of its own, whatever was asked before.
		for _, want := range []Frame{{Alive, 0, []byte{}}, {State, 0, StateBody(uint8(n))}} {
			select {
			case f := <-got:
				require.Equal(t, want, f)
			case <-time.After(20 * time.Second):
				t.Fatalf("state %d never came", n)
			}
		}
	}
}

// setUp does with a line what the page says, from another state than it leaves.
func setUp(t *testing.T, line string) {
	if runtime.GOOS != "linux" {
		return // the page's stty is that of Linux
	}
	stty := need(t, "the page's stty", "stty")
	command := regexp.MustCompile(`(?m)^    stty -F /dev/ttyACM0 (.*)$`).FindStringSubmatch(page(t))
	require.NotNil(t, command)
	out, err := exec.Command(stty, "-F", line, "9600", "echo", "icanon", "hupcl").CombinedOutput()
	require.NoError(t, err, string(out))
	out, err = exec.Command(stty, append([]string{"-F", line}, strings.Fields(command[1])...)...).CombinedOutput()
	require.NoError(t, err, string(out))
	out, err = exec.Command(stty, "-F", line, "-a").CombinedOutput()
	require.NoError(t, err, string(out))
	for _, want := range []string{"speed 115200 baud", "-echo ", "-icanon", "-hupcl", "-opost"} {
		require.Contains(t, string(out), want)
	}
}

func TestPythonSaysState(t *testing.T) {
	python := ""
	for _, p := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(p, "-c", "import serial").Run() == nil {
			python = p
			break
		}
	}
	if python == "" {
		t.Skip("NOT TRIED: the page's Python, there is no python3 with its module serial (Debian: python3-serial)")
	}
	file := filepath.Join(t.TempDir(), "say.py")
	require.NoError(t, os.WriteFile(file, block(t, "python"), 0o644))
	said(t, func(line string, n int) *exec.Cmd { return exec.Command(python, file, line, fmt.Sprint(n)) })
}

func TestJavaScriptSaysState(t *testing.T) {
	node := need(t, "the page's JavaScript", "node", "nodejs")
	file := filepath.Join(t.TempDir(), "say.js")
	require.NoError(t, os.WriteFile(file, block(t, "js"), 0o644))
	said(t, func(line string, n int) *exec.Cmd { return exec.Command(node, file, line, fmt.Sprint(n)) })
}

func TestCSaysState(t *testing.T) {
	cc := need(t, "the page's C", "cc")
	dir := t.TempDir()
	code := string(block(t, "c")) + `
#include <stdio.h>
#include <stdlib.h>
int main(int argc, char **argv) {
	uint8_t m[252] = { 2, 0 }, alive[2] = { 8, 0 }, out[257];
	FILE *f = fopen(argv[1], "w");
	size_t n;
	if (argc == 3) { m[2] = (uint8_t)atoi(argv[2]); n = 3; fwrite(out, 1, frame(out, alive, 2), f); }
	else { n = (size_t)fread(m, 1, sizeof m, stdin); }
	fwrite(out, 1, frame(out, m, n), f);
	return fclose(f);
}
`
	file := filepath.Join(dir, "say.c")
	require.NoError(t, os.WriteFile(file, []byte(code), 0o644))
	out, err := exec.Command(cc, "-std=c99", "-Wall", "-Wextra", "-Wno-misleading-indentation", "-Werror", "-fsanitize=address,undefined", "-o", filepath.Join(dir, "say"), file).CombinedOutput()
	require.NoError(t, err, string(out))
	said(t, func(line string, n int) *exec.Cmd {
		return exec.Command(filepath.Join(dir, "say"), line, fmt.Sprint(n))
	})

	// Any message, up to the longest.
	for _, n := range []int{0, 1, 100, 249, 250} {
		for _, fill := range []byte{0, 1, 0xff} {
			f := Frame{Pass, 5, bytes.Repeat([]byte{fill}, n)}
			cmd := exec.Command(filepath.Join(dir, "say"), filepath.Join(dir, "out"))
			cmd.Stdin = io.MultiReader(bytes.NewReader([]byte{byte(f.Kind), f.Seq}), bytes.NewReader(f.Body))
			out, err := cmd.CombinedOutput()
			require.NoError(t, err, string(out))
			got, err := os.ReadFile(filepath.Join(dir, "out"))
			require.NoError(t, err)
			require.Equal(t, Append(nil, f), got)
		}
	}
}
