package model

// prove asks for a proof of what stands in the window.
func (m *Model) prove() {
	if m.board.doc != nil {
		m.parseBoard()
	}
	if m.busy {
		m.again = true
		return
	}
	m.busy, m.again, m.since = true, false, m.o.Now()
	src := Sources{Show: m.o.Show, Machine: m.o.Machine, Instead: map[string][]byte{m.o.Show: m.doc.now}}
	if m.board.doc != nil {
		src.Instead[m.board.doc.path] = m.board.doc.now
	}
	before := m.stage
	go func() { m.proofs <- m.prover.Prove(src, before) }()
}

// take looks for a finished proof.
func (m *Model) take() {
	select {
	case s := <-m.proofs:
		m.busy = false
		m.took = m.o.Now().Sub(m.since).Seconds()
		if s.Whole() {
			m.told = nil
			m.arrive(s)
		} else {
			m.told = s.Found // the last whole stage goes on
		}
		if m.again {
			m.prove()
		}
	default:
	}
}

// arrive shows a new stage, as far as possible where the old one was.
func (m *Model) arrive(s *Stage) {
	state, frame := 0, 0
	if m.stage != nil && m.run.table != nil {
		name := m.run.table.States[m.run.last.State].Name
		for i := range s.Table.States {
			if s.Table.States[i].Name == name {
				state = i
			}
		}
		frame = m.scrubbed
	}
	value, level, loads := m.run.value, m.run.level, m.run.loads
	same := m.stage != nil && sameLoads(m.stage, s)
	m.stage = s
	m.images = nil
	m.run.start(s.Table, state)
	if same {
		m.setLevel(level)
		m.setValue(value)
		m.run.loads = loads
		m.run.tell(loadsEvent(loads))
	}
	lap := m.lap()
	if lap != nil {
		m.scrubbed = min(frame, len(lap.Frames)-1)
	}
	m.zoomFrom, m.zoomTo = 0, 0
	m.entered = m.lastTime
	m.refuseFlashes()
}

func sameLoads(a, b *Stage) bool {
	if a.Table == nil || len(a.Table.Loads) != len(b.Table.Loads) {
		return false
	}
	for i := range a.Table.Loads {
		if a.Table.Loads[i].Name != b.Table.Loads[i].Name {
			return false
		}
	}
	return true
}
