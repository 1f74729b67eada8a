package model

import "paneglow/anim/unit"

// roomLux is the light on the pane.
func (m *Model) roomLux() float64 {
	if m.room >= 0 {
		return m.room
	}
	if m.stage == nil {
		return 0
	}
	return float64(m.stage.Machine.Panel.Room.Night)
}

func (m *Model) panelDepth() float64 {
	if m.depth > 0 {
		return m.depth
	}
	return float64(m.stage.Machine.Panel.Depth)
}

func (m *Model) panelScatter() float64 {
	if m.scatter > 0 {
		return m.scatter
	}
	return float64(m.stage.Machine.Panel.Glass.Scatter)
}

// dragGlass rebuilds the glass for other settings than the machine's.
func (m *Model) dragGlass() {
	if m.live == nil {
		return
	}
	other := *m.stage.Machine
	other.Panel.Depth = unit.Length(m.panelDepth())
	other.Panel.Glass.Scatter = unit.Angle(m.panelScatter())
	if err := m.live.Change(&other, m.stage.On.Layout); err != nil {
		m.notice = err.Error()
	}
	m.field.exposed = false
}
