package table

import (
	"crypto/sha256"
	"encoding/binary"
	"sync"
)

// Kept keeps how clips were packed from one Write to the next, by their content
// and all that a packer goes by, so that what has not changed is not packed again.
// What the last Write did not ask for is forgotten. The zero value is ready; it
// may be shared by goroutines, one Write at a time.
type Kept struct {
	mu        sync.Mutex
	last, now map[[32]byte]packed
}

// turn begins a Write.
func (k *Kept) turn() {
	if k == nil {
		return
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.last, k.now = k.now, map[[32]byte]packed{}
}

// known gives a clip as it was packed before.
func (k *Kept) known(key [32]byte) (packed, bool) {
	if k == nil {
		return packed{}, false
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	p, ok := k.now[key]
	if !ok {
		if p, ok = k.last[key]; ok {
			k.now[key] = p
		}
	}
	return p, ok
}

// keep remembers a clip whose every frame was compared.
func (k *Kept) keep(key [32]byte, p packed) {
	if k == nil {
		return
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.now[key] = p
}

// keyOf is everything that packing a clip goes by.
func keyOf(t *Show, c *Clip, o Options) [32]byte {
	h := sha256.New()
	var b []byte
	le := binary.LittleEndian
	for _, v := range []int{c.Frames, c.Channels, int(o.Pack), o.Work, o.Cycles, flag(c.Loop, 1) | flag(c.Value, 2) | flag(c.Random, 4)} {
		b = le.AppendUint64(b, uint64(v))
	}
	b = le.AppendUint32(b, t.PanelSum())
	h.Write(b)
	h.Write(c.Bytes)
	var key [32]byte
	h.Sum(key[:0])
	return key
}
