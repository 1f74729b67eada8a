package play

import "paneglow/render/table"

// WireTime is how long one refresh takes to go out and latch, in microseconds,
// rounded up: the longest of the data lines, which run in parallel, each
// addressed pixel of it with 8 bits a die, then the longest latch on it.
func WireTime(t *table.Table) int64 { return WireOf(&t.Show) }

// WireOf is WireTime before there is a table.
func WireOf(t *table.Show) int64 {
	most := int64(0)
	for line := range t.Lines {
		var data, latch int64
		for i := range t.Strips {
			st := &t.Strips[i]
			if st.Line != line {
				continue
			}
			p := &t.Parts[st.Part]
			data += int64(st.Pixels-len(st.Missing)) * int64(p.Dies) * 8 * p.Bit
			latch = max(latch, p.Latch)
		}
		most = max(most, data+latch)
	}
	return (most + 999) / 1000
}

// GrantWorst is the longest time from a load's question to its grant, in
// microseconds: the question just misses a refresh, waits for the next one,
// which already keeps the lower budget, and that one goes out and latches.
func GrantWorst(t *table.Table, o Options) int64 {
	rate := int64(t.FPS * max(o.Refreshes, 1))
	return (1_000_000+rate-1)/rate + WireTime(t)
}
