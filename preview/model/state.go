package model

import (
	"encoding/json"
	"os"
	"path/filepath"

	"paneglow/anim/finding"
	"paneglow/render/play"
)

// Report is the window's state for whoever watches it: tests, and people who
// cannot see the screen.
type Report struct {
	Show     string            `json:"show"`
	State    string            `json:"state"`
	Clip     string            `json:"clip"`
	Frame    int               `json:"frame"`
	Playing  bool              `json:"playing"`
	Current  int64             `json:"current_mA"`
	Budget   int64             `json:"budget_mA"`
	Running  []string          `json:"loads"`
	Value    int               `json:"value"`
	Level    int               `json:"level_per_mille"`
	View     string            `json:"view"`
	Theme    string            `json:"theme"`
	Depth    float64           `json:"depth_mm"`
	Scatter  float64           `json:"scatter_deg"`
	Room     float64           `json:"room_lx"`
	Unsaved  bool              `json:"unsaved"`
	Layout   *BoardReport      `json:"layout,omitempty"` // while the panel is laid out
	Proving  bool              `json:"proving"`
	Proof    float64           `json:"proof_ms"` // from the last change to its proof
	Notice   string            `json:"notice"`
	Hover    string            `json:"hover"`
	Focus    string            `json:"focus"`
	Frames   int               `json:"frames"` // drawn
	Places   map[string][4]int `json:"places"` // of widgets, for who drives the window
	Findings []finding.Finding `json:"findings"`
}

// Report tells where the window stands.
func (m *Model) Report() Report {
	r := Report{
		Show: m.o.Show, Frame: m.frame(), Playing: m.playing, Current: (m.current() + 999) / 1000,
		Value: m.run.value, Level: m.run.level, View: viewNames[m.view], Theme: m.theme.Name, Room: m.roomLux(),
		Unsaved: m.unsaved(), Layout: m.boardReport(), Proving: m.busy, Proof: 1000 * m.took, Notice: m.notice, Hover: m.hover, Focus: m.focus, Frames: m.frames,
		Places: m.places, Findings: m.told,
	}
	if m.stage != nil && m.run.table != nil {
		r.State, r.Clip = m.State(), m.clipName()
		r.Budget = m.run.last.Budget / 1000
		r.Depth, r.Scatter = m.panelDepth(), m.panelScatter()
		for i := range m.run.table.Loads {
			if m.run.loads&(1<<i) != 0 {
				r.Running = append(r.Running, m.run.table.Loads[i].Name)
			}
		}
		if r.Findings == nil {
			r.Findings = m.stage.Found
		}
	}
	return r
}

// writeState writes the report beside and renames it, so that a reader never
// sees half of one.
func (m *Model) writeState() {
	b, err := json.MarshalIndent(m.Report(), "", " ")
	if err != nil {
		m.notice = err.Error()
		return
	}
	f := m.o.StateFile
	next := filepath.Join(filepath.Dir(f), "."+filepath.Base(f)+".next")
	if err := os.WriteFile(next, b, 0o644); err == nil {
		err = os.Rename(next, f)
		if err != nil {
			m.notice = err.Error()
		}
	}
}

func loadsEvent(mask uint32) play.Event { return play.Event{Kind: play.Loads, Mask: mask} }

func (m *Model) setValue(v int) {
	m.run.value = v
	m.run.tell(play.Event{Kind: play.Value, Value: v})
}

func (m *Model) setLevel(v int) {
	m.run.level = v
	m.run.tell(play.Event{Kind: play.Level, Value: v})
}
