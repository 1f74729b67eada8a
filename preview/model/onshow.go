package model

import "math"

// refuseFlashes keeps a clip over the flash limits from playing by itself.
func (m *Model) refuseFlashes() {
	if m.flashing() {
		m.playing, m.scrubbed = false, 0
		m.notice = "this clip flashes more than 3 times a second, which can cause seizures: it stands still; press p to play it all the same"
	}
}

// flashing tells that the clip on show is over the limit and not released.
func (m *Model) flashing() bool {
	i := m.clipIndex()
	return m.stage != nil && i >= 0 && i < len(m.stage.Flashes) && m.stage.Flashes[i] > 3 && !m.released[m.stage.Table.Clips[i].Name]
}

// clipIndex is the clip of the state on show, or -1.
func (m *Model) clipIndex() int {
	if m.stage == nil || m.run.table == nil {
		return -1
	}
	return m.run.table.States[m.run.last.State].Clip
}

func (m *Model) lap() *Lap {
	if m.stage == nil || m.run.table == nil || m.run.last.State >= len(m.stage.Laps) {
		return nil
	}
	return m.stage.Laps[m.run.last.State]
}

// follows tells that the clip on show follows a value.
func (m *Model) follows() bool {
	i := m.clipIndex()
	return i >= 0 && m.run.table.Clips[i].Value
}

// frame is the frame on show in the timeline.
func (m *Model) frame() int {
	if m.still() {
		return m.scrubbed
	}
	if m.clipIndex() == m.run.last.Clip {
		return m.run.last.Frame
	}
	return 0
}

// codes is what the panel shows.
func (m *Model) codes() []uint8 {
	if lap := m.lap(); m.still() && lap != nil && m.scrubbed < len(lap.Frames) {
		return lap.Frames[m.scrubbed]
	}
	return m.run.codes
}

// current is what it draws, microamperes.
func (m *Model) current() int64 {
	if lap := m.lap(); m.still() && lap != nil && m.scrubbed < len(lap.Current) {
		return lap.Current[m.scrubbed]
	}
	return m.run.last.Current
}

func (m *Model) inState() float64 { return m.lastTime - m.entered }

func (m *Model) enter(state int) {
	m.run.enter(state)
	m.run.last.State = state
	m.entered, m.playing, m.scrubbed = m.lastTime, true, 0
	m.zoomFrom, m.zoomTo, m.loopFrom, m.loopTo, m.picking = 0, 0, 0, 0, ""
	m.notice = ""
	m.field.exposed = false // exposure is a clip's
	m.refuseFlashes()
}

func (m *Model) scrub(frame int) {
	m.playing, m.scrubbed = false, frame
	if m.follows() {
		m.setValue(frame)
	}
}

// mainStrip is the strip beside the panel: the chosen one, else the first that
// runs upright, else none.
func (m *Model) mainStrip() int {
	l := m.stage.On.Layout
	if i := l.Strip(m.main); i >= 0 {
		return i
	}
	for i := range l.Strips {
		if upright(l, i) {
			return i
		}
	}
	return -1
}

// looping tells that a loop range is played: frames of the lap, which is what the
// player would latch; the player itself cannot seek, and goes on beneath.
func (m *Model) looping() bool { return m.playing && m.loopFrom != m.loopTo && m.lap() != nil }

// loop finds the frame of a loop range that is due.
func (m *Model) loop() {
	if !m.looping() {
		return
	}
	last := len(m.lap().Frames) - 1
	lo, hi := min(m.loopFrom, m.loopTo, last), min(max(m.loopFrom, m.loopTo), last)
	m.scrubbed = lo + int(math.Mod(m.lastTime*float64(m.run.table.FPS), float64(hi-lo+1)))
}

// still tells that a frame of the lap shows, not what the player latches.
func (m *Model) still() bool { return !m.playing || m.looping() }

// State is the name of the state on show.
func (m *Model) State() string {
	if m.run.table == nil {
		return ""
	}
	return m.run.table.States[m.run.last.State].Name
}

func (m *Model) clipName() string {
	if i := m.clipIndex(); i >= 0 {
		return m.run.table.Clips[i].Name
	}
	return ""
}
