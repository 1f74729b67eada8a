package model

import (
	"bytes"
	"math"

	"paneglow/render/panel"
	"paneglow/render/picture"
)

// lightField turns codes into the Light that the shader draws.
type lightField struct {
	light    Light
	codes    []uint8
	of       *panel.Glass // that light is of
	adapted  bool
	exposed  bool
	exposure float64
	buf      panel.Spline
}

// Light is the panel's light for the Glass op, or nil when no glass is shown.
func (m *Model) Light() *Light {
	codes := m.codes()
	if m.stage == nil || m.view != GlassView || codes == nil || m.board.on {
		return nil
	}
	f := &m.field
	if m.liveOf != nil && m.liveOf != m.stage && bytes.Equal(m.liveOf.Machine.Source, m.stage.Machine.Source) {
		m.liveOf, f.exposed = m.stage, false // the same panel, another show
	}
	if m.liveOf != m.stage {
		live, err := panel.NewLive(m.stage.Machine, m.stage.On.Layout)
		if err != nil {
			m.notice = err.Error()
			return nil
		}
		m.live, m.liveOf, f.exposed = live, m.stage, false
		if m.depth > 0 || m.scatter > 0 {
			m.dragGlass()
		}
	}
	g := m.live.Glass()
	if !f.exposed {
		f.exposure = m.expose(g)
		f.exposed, f.of = true, nil
	}
	f.light.Exposure = float32(f.exposure)
	if f.of == g && f.adapted == m.adapted && bytes.Equal(f.codes, codes) {
		return &f.light // the room is part of the exposure
	}
	f.of, f.adapted, f.codes = g, m.adapted, append(f.codes[:0], codes...)
	var white [3]float64
	if m.adapted {
		white = g.Through(m.whiteCodes())
	}
	room := m.roomLux()
	g.Spline(&f.buf, codes, white)
	f.light = encodeLight(&f.buf, f.light.Version+1, f.light.Codes)
	f.light.Exposure = float32(f.exposure)
	f.light.Room = g.RoomRGB(room, white)
	return &f.light
}

// encodeLight puts coefficients into 16 bits between their least and their most.
func encodeLight(s *panel.Spline, version int, codes []uint16) Light {
	n := len(s.RGB)
	if cap(codes) < 3*n {
		codes = make([]uint16, 3*n)
	}
	codes = codes[:3*n]
	lo, hi := float32(math.Inf(1)), float32(math.Inf(-1))
	for i := range s.RGB {
		for _, v := range s.RGB[i] {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	if !(hi > lo) {
		hi = lo + 1
	}
	k := 65535 / (hi - lo)
	for y := range s.H {
		// The grid counts from the bottom, screens from the top.
		row := s.RGB[(s.H-1-y)*s.W:]
		for x := range s.W {
			for c := range 3 {
				codes[3*(y*s.W+x)+c] = uint16((row[x][c]-lo)*k + 0.5)
			}
		}
	}
	return Light{
		W: s.W, H: s.H, Codes: codes, Most: hi - lo, Least: -lo,
		X: s.X, Y: float64(s.H-1) - s.Y - s.SpanY, SpanX: s.SpanX, SpanY: s.SpanY, Version: version,
	}
}

// expose is the luminance that shows as white: of the clip's brightest frame.
// whiteCodes is a frame of the show's white.
func (m *Model) whiteCodes() []uint8 {
	codes, err := picture.WhiteCodes(m.stage.Machine, m.stage.On.Layout)
	if err != nil {
		return m.codes()
	}
	return codes
}

func (m *Model) expose(g *panel.Glass) float64 {
	codes := m.codes()
	if lap := m.lap(); lap != nil {
		most := int64(-1)
		for f, c := range lap.Current {
			if c > most {
				most, codes = c, lap.Frames[f]
			}
		}
	}
	s, err := g.NewScreen(64, 64, 1, m.roomLux())
	if err != nil {
		return 1
	}
	s.Expose(codes)
	return s.Exposure
}
