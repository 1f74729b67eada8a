package prove

import (
	"crypto/sha256"
	"encoding/binary"
	"sync"

	"paneglow/anim/finding"
	"paneglow/render/safety"
	"paneglow/render/table"
)

// Memory keeps what is dear to work out and has not changed since the last proof
// of the same show: flash counts of clips and of the joints between them. It
// goes by content, so that what it gives is what would be worked out. A nil
// Memory keeps nothing. It may be shared by goroutines.
type Memory struct {
	mu     sync.Mutex
	of     [32]byte // the machine's text
	loops  map[[32]byte]*looped
	joints map[jointKey][]safety.Result
	panel  *panelSeen
	packed table.Kept
	used   map[any]bool // by this proof; the rest is forgotten
}

// panelSeen is the panel through its glass, which no show changes.
type panelSeen struct {
	report *PanelReport
	found  finding.List
}

// looped is a clip's light and its flash counts in a loop.
type looped struct {
	track *safety.Track
	loop  []safety.Result
}

type jointKey struct {
	from, to  [32]byte
	fps, fade int
}

// begin starts a proof: another machine, another memory.
func (m *Memory) begin(machine []byte) {
	if m == nil {
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if h := sha256.Sum256(machine); m.loops == nil || h != m.of {
		m.of, m.loops, m.joints, m.panel = h, map[[32]byte]*looped{}, map[jointKey][]safety.Result{}, nil
	}
	m.used = map[any]bool{}
}

// end forgets what the proof did not ask for.
func (m *Memory) end() {
	if m == nil {
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	for k := range m.loops {
		if !m.used[k] {
			delete(m.loops, k)
		}
	}
	for k := range m.joints {
		if !m.used[k] {
			delete(m.joints, k)
		}
	}
}

// loop gives a clip's light and counts, worked out where they are not known.
func (m *Memory) loop(key [32]byte, work func() *looped) *looped {
	if m == nil {
		return work()
	}
	m.mu.Lock()
	m.used[key] = true
	l := m.loops[key]
	m.mu.Unlock()
	if l == nil {
		l = work()
		m.mu.Lock()
		m.loops[key] = l
		m.mu.Unlock()
	}
	return l
}

// joint gives the counts where two clips meet.
func (m *Memory) joint(key jointKey, work func() []safety.Result) []safety.Result {
	if m == nil {
		return work()
	}
	m.mu.Lock()
	m.used[key] = true
	r, ok := m.joints[key]
	m.mu.Unlock()
	if !ok {
		r = work()
		m.mu.Lock()
		m.joints[key] = r
		m.mu.Unlock()
	}
	return r
}

// keyOf is the content of a clip's frames.
func keyOf(fps, n int, frames func(f int) []uint8) (key [32]byte) {
	h := sha256.New()
	var head [16]byte
	binary.LittleEndian.PutUint64(head[:], uint64(fps))
	binary.LittleEndian.PutUint64(head[8:], uint64(n))
	h.Write(head[:])
	for f := range n {
		h.Write(frames(f))
	}
	h.Sum(key[:0])
	return key
}
