package table

import (
	"encoding/binary"
	"fmt"
)

// FineFull is a die lit all the time, in fine duties: 256ths of a code.
const FineFull = 255 << 8

// keysHead is the bytes before a clip of kind keys' coded samples.
const keysHead = 4

// keyCurve turns a sample into light, 65535 full: CIE lightness in even steps,
// L* = 100 s/255, so that a step looks the same size in the dark and in the
// light. Y/Yn = ((L*+16)/116)^3, below L* = 8 the straight line L* x 27/24389,
// rounded to nearest; integers only, so that a controller's table is the same.
//
// Source: CIE 15:2018, Y as a function of L*.
var keyCurve = func() (t [256]uint16) {
	const line, whole = 255 * 24389, 29580 * 29580 * 29580
	for s := range int64(256) {
		if s <= 20 {
			t[s] = uint16((65535*2700*s + line/2) / line)
			continue
		}
		q := 100*s + 4080
		t[s] = uint16((q*q*q/29580*65535/29580 + 29580/2) / 29580)
	}
	return t
}()

// KeyCurve is the light of every sample of a clip of kind keys, 65535 full.
func KeyCurve() [256]uint16 { return keyCurve }

// What the second byte of a clip of kind keys says.
const (
	keysClose  = 1 << iota // after the last key comes the first
	keysDither             // the rounding error of a die goes on to the next frame
)

// ditherRate is the frames a second from which rounding errors are carried: a
// die that takes turns between two codes then does so at 90 Hz or above, which
// the eye does not see (common practice).
const ditherRate = 180

// keyReader reads a clip of kind keys or field: samples every hop frames, light
// in a straight line between them. The samples of a field are those of its map,
// which its coded clip's palette holds.
type keyReader struct {
	clip  *ClipInfo
	coded *codedReader
	hop   int
	top   uint32
	field bool // its light is rounded in the map
	count int  // keys
	at    int  // key that a holds, -1 none
	both  bool // b holds the one after
	a, b  []uint8
	frame int
	fine  []uint16
	rest  []uint8 // rounding errors, or nil
}

// keyCount is how many keys a clip has: one every hop frames, and where it does
// not loop one more for its last frame.
func keyCount(frames, hop int, loop bool) int {
	n := (frames + hop - 1) / hop
	if !loop && (frames-1)%hop != 0 {
		n++
	}
	return n
}

// keyFrame is the frame of a key.
func keyFrame(key, frames, hop int) int { return min(key*hop, frames-1) }

func newKeyReader(t *Show, c *ClipInfo, payload []byte) (*keyReader, error) {
	bad := func(what string) (*keyReader, error) {
		return nil, fmt.Errorf("table: clip %q: %s: %w", c.Name, what, ErrData)
	}
	if len(payload) < keysHead {
		return bad("no room for its own header")
	}
	r := &keyReader{clip: c, hop: int(payload[0]), top: uint32(binary.LittleEndian.Uint16(payload[2:])), field: c.Kind == Field, at: -1}
	if r.field && !t.evenDies() {
		return bad("a field on strips whose pixels have different numbers of dies")
	}
	if r.hop < 1 || payload[1]&^(keysClose|keysDither) != 0 || (payload[1]&keysClose != 0) != c.Loop {
		return bad(fmt.Sprintf("a key every %d frames, flags %d", r.hop, payload[1]))
	}
	r.count = keyCount(c.Frames, r.hop, c.Loop)
	var err error
	if r.coded, err = newCodedReader(t, &ClipInfo{Name: c.Name, Frames: r.count, Loop: true}, payload[keysHead:]); err != nil {
		return nil, err
	}
	if r.coded.m.k.palette != r.field {
		return bad("key frames of palette indices, or a field without its map")
	}
	r.a, r.b, r.fine = make([]uint8, t.Channels()), make([]uint8, t.Channels()), make([]uint16, t.Channels())
	if payload[1]&keysDither != 0 {
		r.rest = make([]uint8, t.Channels())
	}
	return r, nil
}

// next gives a frame's codes: the frame after the last, or any.
func (r *keyReader) next(dst []uint8, frame int) error {
	key := frame / r.hop
	if !r.clip.Loop && frame == r.clip.Frames-1 {
		key = r.count - 1
	}
	if frame != keyFrame(key, r.clip.Frames, r.hop) && r.at == key {
		if err := r.second(); err != nil {
			return err
		}
	}
	if r.at == key && (r.rest == nil || frame == r.frame+1) {
		r.frame = frame
		r.round(dst)
		return nil
	}
	if r.at != key {
		if err := r.load(key); err != nil {
			return err
		}
		if frame != keyFrame(key, r.clip.Frames, r.hop) {
			if err := r.second(); err != nil {
				return err
			}
		}
	}
	// Rounding errors begin anew at every key, so that a frame's codes depend on
	// nothing before it.
	for i := range r.rest {
		r.rest[i] = 128
	}
	r.frame = keyFrame(key, r.clip.Frames, r.hop)
	if r.rest == nil {
		r.frame = frame
	}
	for ; r.frame < frame; r.frame++ {
		r.round(dst)
	}
	r.round(dst)
	return nil
}

// load brings a key into a. The one after it is read when it is needed: a key's
// own frame shows nothing of it, so that no frame has to wait for two.
func (r *keyReader) load(key int) error {
	if r.at >= 0 && (r.at+1 == key || r.clip.Loop && key == 0 && r.at+1 == r.count) {
		if err := r.second(); err != nil {
			return err
		}
		copy(r.a, r.b)
	} else {
		if err := r.coded.seek(key); err != nil {
			return err
		}
		if err := r.coded.next(); err != nil {
			return err
		}
		r.coded.codes(r.a)
	}
	r.at, r.both = key, false
	return nil
}

// second brings the key after the last into b: the first one again where the loop
// closes, and where the clip ends the last one itself.
func (r *keyReader) second() error {
	if r.both {
		return nil
	}
	if r.at+1 == r.count {
		if !r.clip.Loop {
			copy(r.b, r.a)
			r.both = true
			return nil
		}
		if err := r.coded.seek(0); err != nil {
			return err
		}
	}
	if err := r.coded.next(); err != nil {
		return err
	}
	r.coded.codes(r.b)
	r.both = true
	return nil
}

// span is how many frames lie between the last key and the next.
func (r *keyReader) span() int {
	from := keyFrame(r.at, r.clip.Frames, r.hop)
	if r.at+1 < r.count {
		return keyFrame(r.at+1, r.clip.Frames, r.hop) - from
	}
	return r.clip.Frames - from
}

// round gives the codes of the frame: its duties rounded to nearest, or with the
// rounding error carried.
func (r *keyReader) round(dst []uint8) {
	from := keyFrame(r.at, r.clip.Frames, r.hop)
	w := uint32((r.frame - from) * 256 / r.span())
	if r.field {
		betweenMapped(r.fine, r.a, r.b, w, r.top)
	} else {
		between(r.fine, r.a, r.b, w, r.top)
	}
	if r.rest == nil {
		for i, v := range r.fine {
			dst[i] = uint8((uint32(v) + 128) >> 8)
		}
		return
	}
	for i, v := range r.fine {
		x := uint32(v) + uint32(r.rest[i])
		dst[i], r.rest[i] = uint8(x>>8), uint8(x)
	}
}

// between is the light between two keys, in 256ths of a code: weights of 256ths,
// rounded down, then the clip's top.
func between(dst []uint16, a, b []uint8, w, top uint32) {
	for i := range dst {
		v := (uint32(keyCurve[a[i]])*(256-w) + uint32(keyCurve[b[i]])*w) >> 8
		dst[i] = uint16(v * top >> 16)
	}
}

// betweenMapped is between for a field: the map holds light with the clip's top
// in it, rounded down, so that a controller works it out once.
func betweenMapped(dst []uint16, a, b []uint8, w, top uint32) {
	for i := range dst {
		l, m := uint32(keyCurve[a[i]])*top>>16, uint32(keyCurve[b[i]])*top>>16
		dst[i] = uint16((l*(256-w) + m*w) >> 8)
	}
}

// work is the memory that a player needs beside the frame: what the coded clip
// needs, the key before, what goes out, rounding errors where they are carried,
// and a second byte for every sample of a field's map.
func (r *keyReader) work() int {
	k := r.coded.m.k
	n := k.work() + k.bytes + len(r.fine) + len(r.rest)
	if r.field {
		n += len(r.coded.m.palette)
	}
	return n
}

// evenDies tells whether all pixels have as many dies as the widest: a map's
// entry then is a pixel.
func (t *Show) evenDies() bool { return t.Channels() == t.Pixels()*t.mostDies() }
