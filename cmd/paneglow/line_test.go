package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/render/prove"
)

// What check says of the line is what the line does.
func TestLineDelay(t *testing.T) {
	for _, baud := range []int{9600, 115200, 250000, 500000, 1000000} {
		require.Equal(t, link.FrameTime(baud), prove.LineDelay(baud))
	}
}
