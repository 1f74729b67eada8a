package table

// model is a decoder's and an encoder's memory.
type model struct {
	k *coded
	coder
	frame   []uint8
	palette []uint8
	history []uint8
	ring    [][]uint8
	head    int // slot of the last frame
	how     []prediction
	first   []uint8
	second  []uint8
	size    [2][4][4]uint8
	tail    [4][16]uint8
	same    uint8
	raw     uint8
	light   uint8
	keep    uint8
	bare    uint8
	equal   [mostPlanes]uint8
	weights [2][2]int16
	hi      int    // largest value of a sample
	pair    second // the second context in use
}

func newModel(k *coded) *model {
	m := &model{k: k, hi: 255}
	m.frame = make([]uint8, k.bytes)
	m.palette = make([]uint8, k.colours*k.dies)
	if k.history {
		m.history = make([]uint8, k.bytes)
	}
	for range k.slots {
		m.ring = append(m.ring, make([]uint8, k.bytes))
	}
	m.how = make([]prediction, len(k.stretches))
	m.first = make([]uint8, k.firstCells())
	m.second = make([]uint8, k.secondCells())
	return m
}

// forget clears every context.
func (m *model) forget() {
	clear(m.first)
	clear(m.second)
	m.size, m.tail, m.equal = [2][4][4]uint8{}, [4][16]uint8{}, [mostPlanes]uint8{}
	m.same, m.raw, m.light, m.keep, m.bare = 0, 0, 0, 0, 0
	for i := range m.weights {
		m.weights[i] = [2]int16{startWeight, startWeight}
	}
}

const startWeight = 45 << 8

// reset stands before a start point: nothing is known, everything is dark.
func (m *model) reset() {
	m.forget()
	clear(m.frame)
	clear(m.history)
	for _, r := range m.ring {
		clear(r)
	}
	for i := range m.how {
		m.how[i] = still1
	}
	m.head = 0
	m.hi, m.pair = 255, m.k.second
	if m.k.palette {
		m.hi = m.k.colours - 1
	}
	m.toil.started++
	m.toil.cleared += m.k.work() - len(m.palette) + m.k.bytes
}

// push puts the frame into the ring before the next one takes its place.
func (m *model) push() {
	if len(m.ring) == 0 {
		return
	}
	if m.head--; m.head < 0 {
		m.head = len(m.ring) - 1
	}
	copy(m.ring[m.head], m.frame)
	m.toil.pushed += len(m.frame)
}

// older is frame n before the one in the making.
func (m *model) older(n int) []uint8 {
	i := m.head + n - 1
	if i >= len(m.ring) {
		i -= len(m.ring)
	}
	return m.ring[i]
}

// copyOut fills a copied stretch.
func (m *model) copyOut(s *stretch) {
	step := s.stride
	switch s.how {
	case isBackward:
		step = -step
	case isSame:
		step = 0
	}
	from := s.from
	for x := s.at; x < s.at+s.pixels*s.stride; x, from = x+s.stride, from+step {
		copy(m.frame[x:x+s.stride], m.frame[from:from+s.stride])
	}
	m.toil.copied += s.pixels * s.stride
}

// age is a repeated frame, to the history.
func (m *model) age() {
	for i, h := range m.history {
		if h < 64 {
			m.history[i] = h + 4
		}
	}
	m.toil.aged += len(m.history)
}

// follow sets a sample and its history.
func (m *model) follow(x int, v uint8) {
	was := m.frame[x]
	m.frame[x] = v
	if m.history == nil {
		return
	}
	m.history[x] = since(m.history[x], v, was)
}

// since is a sample's history after it went from was to v: two bits of where
// it went last, 1 up and 2 down, and how many frames it has stood, to 16.
func since(h, v, was uint8) uint8 {
	switch {
	case v > was:
		return 1
	case v < was:
		return 2
	case h < 64:
		return h + 4
	}
	return h
}
