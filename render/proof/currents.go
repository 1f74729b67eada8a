package proof

import (
	"fmt"

	"paneglow/render/drive"
	"paneglow/render/power"
)

// clip is the greatest current of the first n frames of a clip under a level
// and budgets, by the player's own arithmetic.
func (m *maker) clip(clip, n, level int, budgets []int64) []answer {
	key := fmt.Sprint(clip, n, level, budgets)
	if a, ok := m.memo[key]; ok {
		return a
	}
	if m.dark(budgets) {
		return m.black()
	}
	out := make([]answer, len(m.meters))
	for s := range out {
		out[s] = answer{-1, -1, true}
	}
	codes := make([]uint8, m.t.Channels())
	for f, frame := range m.frames[clip][:n] {
		power.Scale(codes, frame, uint32(level))
		gain := uint32(level)
		for s, meter := range m.meters {
			if meter.Current(codes) <= budgets[s] {
				continue
			}
			k, _ := meter.ScaleBound(meter.Numerator(frame), budgets[s])
			gain = min(gain, k)
		}
		if gain < uint32(level) {
			power.Scale(codes, frame, gain)
		}
		for s, meter := range m.meters {
			if draws := meter.Current(codes); draws > out[s].draws {
				out[s].frame, out[s].draws = f, draws
			}
		}
	}
	m.memo[key] = out
	return out
}

// dark tells whether loads leave some supply less than its dark pixels draw:
// then the whole panel stays dark.
func (m *maker) dark(budgets []int64) bool {
	for s, meter := range m.meters {
		if meter.Idle() > budgets[s] {
			return true
		}
	}
	return false
}

// black is what a dark panel draws.
func (m *maker) black() []answer {
	var out []answer
	for _, meter := range m.meters {
		out = append(out, answer{-1, meter.Idle(), true})
	}
	return out
}

// any bounds the first n frames of a clip at any level.
func (m *maker) any(clip, n int, budgets []int64) []answer {
	if m.dark(budgets) {
		return m.black()
	}
	out := make([]answer, len(m.meters))
	for s := range out {
		out[s] = answer{-1, -1, false}
		for f, ua := range m.full[clip][s][:n] {
			if ua = min(ua, budgets[s]); ua > out[s].draws {
				out[s].frame, out[s].draws = f, ua
			}
		}
	}
	return out
}

// mix bounds what a crossfade can show under a level: a mix of frames of any
// clips.
func (m *maker) mix(level int, budgets []int64) []answer {
	if m.dark(budgets) {
		return m.black()
	}
	var out []answer
	for s, meter := range m.meters {
		most := meter.Idle() + m.mixes[s]*int64(level)/(drive.FullGain*255) + int64(len(meter.Parts()))
		out = append(out, answer{-1, min(most, budgets[s]), false})
	}
	return out
}
