package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/examples"
)

// What export certifies is counted again by tools/recount.py from the table and
// the machine file: the starter as it ships, and on two supplies, one of them
// hot, with a slew, a load that can jam, tolerances and the cap "moment". A
// smaller supply than the table was made for is not accepted.
func TestCertificateIsCountedAgain(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("no python3 here: the certificate was not counted again")
	}
	dir := t.TempDir()
	export := func(name string, change func(machine, show string) (string, string)) (table, machine, proof string) {
		in := filepath.Join(dir, name)
		require.NoError(t, copyShow(examples.Starter(), in))
		machine, show := filepath.Join(in, "machine.toml"), filepath.Join(in, "show.toml")
		m, err := os.ReadFile(machine)
		require.NoError(t, err)
		s, err := os.ReadFile(show)
		require.NoError(t, err)
		mm, ss := change(string(m), string(s))
		require.NoError(t, os.WriteFile(machine, []byte(mm), 0o644))
		require.NoError(t, os.WriteFile(show, []byte(ss), 0o644))
		table, proof = filepath.Join(in, "panel.table"), filepath.Join(in, "proof.json")
		var out, errs bytes.Buffer
		require.Zero(t, run([]string{"export", in, "-o", table, "--proof", proof}, &out, &errs), errs.String())
		require.Contains(t, out.String(), "certificate of ")
		return table, machine, proof
	}
	recount := func(args ...string) (string, error) {
		out, err := exec.Command(python, append([]string{filepath.Join("..", "..", "tools", "recount.py")}, args...)...).CombinedOutput()
		return string(out), err
	}
	out, err := recount(exported(export("plain", func(m, s string) (string, string) { return m, s }))...)
	require.NoError(t, err, out)
	require.Contains(t, out, "all agree and hold")

	table, machine, proof := export("split", func(m, s string) (string, string) {
		replace := func(old, new string) {
			require.Equal(t, 1, strings.Count(m, old), old)
			m = strings.Replace(m, old, new, 1)
		}
		replace("[supply]\nvolts = \"12 V\"\namps = \"5 A\" ", "[[supply]]\nname = \"light\"\nvolts = \"12 V\"\namps = \"240 mA\"\ntemperature = \"57.5 degC\"\nderate = [[\"50 degC\", \"100 %\"], [\"70 degC\", \"60 %\"]]\nslew = { rise = \"1 A/s\" }\n"+
			"[[supply]]\nname = \"motors\"\nvolts = \"24 V\"\namps = \"3 A\" ")
		replace("start = \"2 A\"", "start = \"2 A\"\nstall = \"2.2 A\"\ncut_off = \"2 s\"\nsupply = \"motors\"")
		return m, strings.Replace(s, "fps = 30", "fps = 30\ncap = \"moment 0.5 s\"", 1) + "\n[[level]]\nfrom = \"22:00\"\nlevel = \"40 %\"\n"
	})
	out, err = recount(table, machine, proof)
	require.NoError(t, err, out)

	m, err := os.ReadFile(machine)
	require.NoError(t, err)
	hotter := filepath.Join(dir, "hotter.toml")
	require.NoError(t, os.WriteFile(hotter, bytes.Replace(m, []byte("57.5 degC"), []byte("60 degC"), 1), 0o644))
	out, err = recount(table, hotter, proof)
	require.Error(t, err)
	require.Contains(t, out, "the machine file")
}

// exported gathers the three names that export's helper gives.
func exported(table, machine, proof string) []string { return []string{table, machine, proof} }
