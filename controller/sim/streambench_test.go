package sim

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/stream"
)

// streamFrames is how many frames of a table a measured stream has.
const streamFrames = 10_000

// BenchmarkStream streams the corpus's clips of 240 pixels at 30 frames a second, the
// states in turn, to the simulated chip: 10,000 frames at either rate and for a
// computer that is late by 0, 4 and 16 ms. Lost are bytes that the receiver or its
// ring could not take; late are refreshes that should have had a new frame.
func BenchmarkStream(b *testing.B) {
	ready(b)
	for range b.N {
		stored, streamed := streamTables(b)
		lost, late, again := 0, 0, 0
		var mu sync.Mutex
		var wg sync.WaitGroup
		two := make(chan struct{}, 2) // as many at once as there are processors for
		for _, baud := range []int{250000, 500000} {
			elf := streamFirmware(b, stored, baud)
			for _, delay := range []time.Duration{0, 4 * time.Millisecond, 16 * time.Millisecond} {
				wg.Go(func() {
					two <- struct{}{}
					defer func() { <-two }()
					const whole = streamFrames*time.Second/benchFPS + 12*time.Second
					c := &computer{t: b, source: stream.NewTable(streamed, 1), baud: baud, delay: delay, states: map[time.Duration]int{}}
					for at, n := 2*time.Second, 0; at < whole; at, n = at+9*time.Second, n+1 {
						if n %= len(stored.States); stored.States[n].Still {
							n++ // it has one frame
						}
						c.states[at] = n
					}
					r := c.run(elf, whole, time.Hour)
					mu.Lock()
					defer mu.Unlock()
					st := c.feed.Stats()
					lost += int(r.Uint("pg_serial_lost")) + r.UART.Lost + r.UART.Garbled
					require.GreaterOrEqual(b, st.Passed, streamFrames)
					late += st.Late
					again += st.Again
					fmt.Printf("stream: %d baud, %v: %d frames passed, %d late, %d blocks again, %d thinned\n", baud, delay, st.Passed, st.Late, st.Again, st.Thinned)
				})
			}
		}
		wg.Wait()
		require.Zero(b, again, "blocks sent again on a line without faults")
		b.ReportMetric(float64(lost), "stream_lost_bytes")
		b.ReportMetric(float64(late), "stream_late_frames")
		b.ReportMetric(0, "ns/op")
	}
}
