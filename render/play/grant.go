package play

import "paneglow/render/table"

// WireTime is how long one refresh takes to go out and latch, in microseconds,
// rounded up: each addressed pixel with 8 bits a die, line after line or, together, as
// long as the longest line; then the longest latch. The slowest part's bit is that of
// all lines.
func WireTime(t *table.Show, together bool) int64 {
	var all, most, latch, bit int64
	for i := range t.Parts {
		bit = max(bit, t.Parts[i].Bit)
	}
	for line := range t.Lines {
		data := int64(0)
		for i := range t.Strips {
			st := &t.Strips[i]
			if st.Line != line {
				continue
			}
			p := &t.Parts[st.Part]
			data += int64(st.Pixels-len(st.Missing)) * int64(p.Dies) * 8 * bit
			latch = max(latch, p.Latch)
		}
		all += data
		most = max(most, data)
	}
	if together {
		all = most
	}
	return (all + latch + 999) / 1000
}

// GrantWorst is the longest time from a load's question to its grant, in
// microseconds: the question just misses a refresh, waits for the next one,
// which already keeps the lower budget, and that one goes out and latches.
func GrantWorst(t *table.Table, refreshes int, together bool) int64 {
	rate := int64(t.FPS * max(refreshes, 1))
	return (1_000_000+rate-1)/rate + WireTime(&t.Show, together)
}
