package main

import (
	"bytes"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// A bar shows after a second, and how much is done, but no time that is left: what an
// upload found on the board is done at once.
func TestProgress(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var out bytes.Buffer
		b := newBar(&out, "uploading", 1000)
		b.add(300)
		b.say("uploading, 11 kB/s")
		time.Sleep(900 * time.Millisecond)
		b.add(100)
		require.Empty(t, out.String())
		time.Sleep(1200 * time.Millisecond)
		b.add(100)
		require.Contains(t, out.String(), "uploading, 11 kB/s  50% |")
		b.say("uploading, 12 kB/s")
		time.Sleep(time.Second)
		b.add(490)
		require.Contains(t, out.String(), "uploading, 12 kB/s  99% |")
		require.NotContains(t, out.String(), "s]")
		require.NotContains(t, out.String(), " 0%")
		b.done()
	})
	var out bytes.Buffer
	b := (&app{err: &out}).progress("uploading", 10) // no terminal
	b.add(10)
	b.say("done")
	b.done()
	require.Empty(t, out.String())
}
