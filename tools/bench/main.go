// Command bench runs the project's benchmarks and gathers what they report
// under a name of their own (b.ReportMetric) into one flat JSON object, and
// prints it as a table. Ratios compare two ways in one run; figures in ns, us
// or ms belong to the machine that is named beside them.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"sort"
	"strconv"
	"strings"
)

func main() {
	out := flag.String("out", "build/bench.json", "file to write")
	time := flag.String("benchtime", "1s", "time for each benchmark")
	some := flag.String("bench", "", "pattern of benchmarks, as go test has it; the file's other figures stay. Empty: all, and nothing else stays")
	flag.Parse()
	if err := run(*out, *time, *some); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

// key is a metric that a benchmark named itself: lower case words joined by
// underscores. Go's own units (ns/op, B/op) hold a slash.
var key = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)+$`)

func run(out, benchtime, some string) error {
	kept := map[string]float64{}
	pattern := "."
	if some != "" {
		pattern = some
		switch b, err := os.ReadFile(out); {
		case errors.Is(err, os.ErrNotExist):
		case err != nil:
			return err
		default:
			if err := json.Unmarshal(b, &kept); err != nil {
				return fmt.Errorf("%s is no file of figures: %w; remove it, or measure all", out, err)
			}
		}
	}
	cmd := exec.Command("go", "test", "-run", "^$", "-bench", pattern, "-benchtime", benchtime, "-p", "1", "-timeout", "6h", "./...")
	var buf bytes.Buffer
	cmd.Stdout, cmd.Stderr = &buf, os.Stderr
	if err := cmd.Run(); err != nil {
		os.Stderr.Write(buf.Bytes())
		return fmt.Errorf("the benchmarks did not run: %w", err)
	}
	got := map[string]float64{}
	for line := range strings.SplitSeq(buf.String(), "\n") {
		if !strings.HasPrefix(line, "Benchmark") {
			continue
		}
		f := strings.Fields(line)
		for i := 2; i+1 < len(f); i += 2 {
			if v, err := strconv.ParseFloat(f[i], 64); err == nil && key.MatchString(f[i+1]) {
				got[f[i+1]] = v
			}
		}
	}
	if len(got) == 0 {
		return fmt.Errorf("no benchmark reported a figure")
	}
	names := make([]string, 0, len(got))
	for n := range got {
		names = append(names, n)
	}
	sort.Strings(names)
	fmt.Printf("%s/%s, %d processors, %s\n\n", runtime.GOOS, runtime.GOARCH, runtime.NumCPU(), runtime.Version())
	for _, n := range names {
		fmt.Printf("%-32s %12.4g\n", n, got[n])
	}
	maps.Copy(kept, got)
	b, err := json.MarshalIndent(kept, "", "  ")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(out), 0o755); err != nil {
		return err
	}
	tmp := out + ".new"
	if err := os.WriteFile(tmp, append(b, '\n'), 0o644); err != nil {
		return err
	}
	return os.Rename(tmp, out)
}
