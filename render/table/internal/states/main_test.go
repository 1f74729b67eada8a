package main

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// The files are what this program makes.
func TestFilesAreWhatThisMakes(t *testing.T) {
	tables := build()
	for name, want := range map[string][]byte{"../../states.go": tables.goFile(), "../../../../controller/player/states.h": tables.cFile()} {
		got, err := os.ReadFile(name)
		require.NoError(t, err)
		require.Equal(t, string(want), string(got), "%s: run go generate in render/table", name)
	}
}

// Every state says what it has seen: a one never makes it think less of ones,
// confidence never falls, and a long row of equal bits ends at the last state.
func TestStatesBehave(t *testing.T) {
	tables := build()
	for s := range tables.used {
		require.GreaterOrEqual(t, tables.evidence[tables.next[1][s]], tables.evidence[tables.next[0][s]], "state %d", s)
	}
	for bit := range 2 {
		s := uint8(0)
		for range 200 {
			s = tables.next[bit][s]
		}
		require.Equal(t, s, tables.next[bit][s])
		require.Equal(t, []int8{-110, 110}[bit], tables.evidence[s]) // 5.49 nats
	}
	for i := 1; i < 256; i++ {
		require.GreaterOrEqual(t, tables.chance[uint8(int8(i-128))], tables.chance[uint8(int8(i-129))])
	}
}
