package prove

import (
	"fmt"

	"paneglow/anim"
	"paneglow/anim/finding"
	"paneglow/render"
)

// Missed puts the distance from a target into words.
func Missed(m *render.Miss) string {
	return fmt.Sprintf("%.0f %% of the picture's light is missing, %.0f %% falls beside it (root mean square %.1f %% of white)", 100*m.Dark, 100*m.Over, 100*m.RMS)
}

// tellMiss says how much of a seen picture the strips cannot reach.
func (p *Project) tellMiss(clip *anim.Clip, c *render.Codes) {
	worst := -1
	for i := range c.Miss {
		if worst < 0 || c.Miss[i].RMS > c.Miss[worst].RMS {
			worst = i
		}
	}
	if worst >= 0 {
		p.Add(finding.Note, "picture.unreached", fmt.Sprintf("clip %q, frame %d", clip.Name, c.Miss[worst].Frame),
			"keep what matters near the strips; render --view target shows where the difference lies", "%s", Missed(&c.Miss[worst]))
	}
}
