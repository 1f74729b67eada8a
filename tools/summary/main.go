// Command summary reads `go test -json` and prints what a person wants to know:
// every failure with its output, every skip with its reason, and the count. It
// exits with 1 on a failure, and on a skip when CI is set.
package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"
)

type event struct {
	Action, Package, Test, Output string
}

func main() { os.Exit(run(os.Stdin, os.Stdout, os.Getenv("CI") != "")) }

func run(in io.Reader, out io.Writer, ci bool) int {
	passed, failed, skipped := 0, 0, 0
	output := map[string]*strings.Builder{}
	scan := bufio.NewScanner(in)
	scan.Buffer(make([]byte, 1<<20), 1<<26)
	for scan.Scan() {
		var e event
		if json.Unmarshal(scan.Bytes(), &e) != nil {
			fmt.Fprintln(out, scan.Text()) // a build error comes as plain text
			continue
		}
		key := e.Package + " " + e.Test
		switch e.Action {
		case "output", "build-output":
			if output[key] == nil {
				output[key] = &strings.Builder{}
			}
			output[key].WriteString(e.Output)
		case "pass":
			if e.Test != "" {
				passed++
			}
			delete(output, key)
		case "skip":
			if e.Test != "" {
				skipped++
				fmt.Fprintf(out, "SKIPPED %s\n%s", key, said(output[key]))
			}
		case "fail", "build-fail":
			failed++
			fmt.Fprintf(out, "FAILED %s\n%s", key, said(output[key]))
		}
	}
	fmt.Fprintf(out, "%d passed, %d failed, %d skipped\n", passed, failed, skipped)
	if failed > 0 || passed == 0 || skipped > 0 && ci {
		return 1
	}
	return 0
}

func said(b *strings.Builder) string {
	if b == nil {
		return ""
	}
	return b.String()
}
