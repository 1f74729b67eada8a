package main

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// The file is what this program makes.
func TestFileIsWhatThisMakes(t *testing.T) {
	got, err := os.ReadFile("../../../../controller/player/curve.h")
	require.NoError(t, err)
	require.Equal(t, string(header()), string(got), "run go generate in render/table")
}
