package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestRun(t *testing.T) {
	pass := `{"Action":"pass","Package":"p","Test":"TestA"}` + "\n"
	skip := `{"Action":"output","Package":"p","Test":"TestB","Output":"needs a thing\n"}` + "\n" + `{"Action":"skip","Package":"p","Test":"TestB"}` + "\n"
	fail := `{"Action":"output","Package":"p","Test":"TestC","Output":"got 1\n"}` + "\n" + `{"Action":"fail","Package":"p","Test":"TestC"}` + "\n"
	for _, c := range []struct {
		name, in string
		ci       bool
		code     int
		says     string
	}{
		{"all well", pass, true, 0, "1 passed, 0 failed, 0 skipped"},
		{"a skip speaks", pass + skip, false, 0, "needs a thing"},
		{"a skip fails in CI", pass + skip, true, 1, "1 passed, 0 failed, 1 skipped"},
		{"a failure", pass + fail, false, 1, "got 1"},
		{"no test at all", "", false, 1, "0 passed"},
		{"a build error", "p/x.go:1: broken\n" + pass + `{"Action":"fail","Package":"p"}` + "\n", false, 1, "p/x.go:1: broken"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var out bytes.Buffer
			require.Equal(t, c.code, run(strings.NewReader(c.in), &out, c.ci))
			require.Contains(t, out.String(), c.says)
		})
	}
}
