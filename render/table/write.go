package table

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"runtime"
	"sync"

	"paneglow/render/power"
)

// Clip is one clip's final codes to be written.
type Clip struct {
	Name     string
	Frames   int
	Channels int     // of a frame; the show's
	Bytes    []uint8 // Frames*Channels codes, frame after frame
	Current  []int64 // of every frame in microamperes; nil: counted here; else compared
	Loop     bool
	Value    bool // frame = value; 256 frames
}

// Pack says how hard the writer looks for a small table.
type Pack uint8

const (
	// Quick tries five predictions for every strip of a frame and one block size.
	Quick Pack = iota
	// Best tries all eight predictions and eight block sizes: about eight times
	// the work for a few per cent of the bytes.
	Best
)

// Options of Write. The zero value works: Quick, one worker per processor.
type Options struct {
	Pack    Pack
	Workers int // at most this many clips at once; 0: one per processor. The bytes do not depend on it
}

// Report says what became of the clips.
type Report struct {
	Bytes int // of the whole table
	Clips []ClipReport
	Table *Table // the bytes read back, every frame decoded and compared
}

// ClipReport is one clip's result.
type ClipReport struct {
	Name  string
	Kind  Kind
	Bytes int    // payload and checksum
	Raw   int    // what it would take as plain codes
	Why   string // why this kind, in words
	Peak  int64  // microamperes
}

// Write packs a show and its clips into a table. Each clip is stored in the
// smallest of the kinds, decoded again, and compared frame by frame before
// anything is written. Clips stand in the show's order: state.Clip counts them.
func Write(w io.Writer, t *Show, clips []Clip, o Options) (Report, error) {
	if err := t.check(); err != nil {
		return Report{}, err
	}
	meter, err := t.Meter()
	if err != nil {
		return Report{}, err
	}
	h := &Header{Show: *t, Version: Version}
	payloads := make([][]byte, len(clips))
	currents := make([][]int64, len(clips))
	reports := make([]ClipReport, len(clips))
	errs := make([]error, len(clips))
	h.Clips = make([]ClipInfo, len(clips))

	workers := o.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	jobs := make(chan int)
	var wg sync.WaitGroup
	for range min(workers, len(clips)) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range jobs {
				payloads[i], currents[i], reports[i], errs[i] = packClip(t, meter, &clips[i], o.Pack)
			}
		}()
	}
	for i := range clips {
		jobs <- i
	}
	close(jobs)
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return Report{}, err
		}
	}

	for i := range clips {
		c := &clips[i]
		h.Clips[i] = ClipInfo{Name: c.Name, Frames: c.Frames, Kind: reports[i].Kind, Value: c.Value, Loop: c.Loop,
			Length: len(payloads[i]), Peak: reports[i].Peak}
	}
	h.HeaderLength = len(h.marshal())
	at := h.HeaderLength
	for i := range h.Clips {
		h.Clips[i].Offset = at
		at += h.Clips[i].Length + 4
	}
	h.currents = at
	cb := sealed(packCurrents(currents))
	h.TableLength = at + len(cb)
	if int64(h.TableLength) > 1<<31-1 {
		return Report{}, fmt.Errorf("table: %d bytes do not fit a table: %w", h.TableLength, ErrLimit)
	}
	if err := h.checkClips(); err != nil {
		return Report{}, err
	}
	var out bytes.Buffer
	out.Grow(h.TableLength)
	out.Write(h.marshal())
	for _, p := range payloads {
		// Not sealed(p): a payload may be the caller's own codes.
		out.Write(p)
		out.Write(binary.LittleEndian.AppendUint32(nil, crc32.ChecksumIEEE(p)))
	}
	out.Write(cb)
	back, err := read(out.Bytes(), Limits{Bytes: 1<<31 - 1, Decoded: 1 << 62}, currents)
	if err != nil {
		return Report{}, fmt.Errorf("table: what was written does not read back; please report this: %w", err)
	}
	if _, err := w.Write(out.Bytes()); err != nil {
		return Report{}, fmt.Errorf("table: writing: %w", err)
	}
	return Report{Bytes: out.Len(), Clips: reports, Table: back}, nil
}

// packClip chooses a kind for one clip and proves it.
func packClip(t *Show, meter *power.Meter, c *Clip, pack Pack) ([]byte, []int64, ClipReport, error) {
	fail := func(format string, args ...any) ([]byte, []int64, ClipReport, error) {
		return nil, nil, ClipReport{}, fmt.Errorf("table: clip %q: %s: %w", c.Name, fmt.Sprintf(format, args...), ErrData)
	}
	size := t.Channels()
	if c.Channels != size || c.Frames < 1 || c.Frames > MostFrames || len(c.Bytes) != c.Frames*size {
		return fail("%d bytes for %d frames of %d channels, want frames of %d", len(c.Bytes), c.Frames, c.Channels, size)
	}
	if c.Value && c.Frames != 256 {
		return fail("it follows a value and has %d frames, want 256", c.Frames)
	}
	if c.Current != nil && len(c.Current) != c.Frames {
		return fail("%d currents for %d frames", len(c.Current), c.Frames)
	}
	if i := firstLitMissing(t, c); i >= 0 {
		return fail("frame %d lights a missing pixel", i)
	}
	rep := ClipReport{Name: c.Name, Raw: len(c.Bytes)}
	currents := make([]int64, c.Frames)
	for f := range currents {
		currents[f] = meter.Current(c.Bytes[f*size : (f+1)*size])
		if c.Current != nil && c.Current[f] != currents[f] {
			return fail("frame %d draws %s by its codes, %s was given", f, power.Amps(currents[f]), power.Amps(c.Current[f]))
		}
		rep.Peak = max(rep.Peak, currents[f])
	}
	payload, kind, why := choose(t, c, pack)
	rep.Kind, rep.Why, rep.Bytes = kind, why, len(payload)+4

	info := ClipInfo{Name: c.Name, Frames: c.Frames, Kind: kind, Value: c.Value, Loop: c.Loop, Length: len(payload)}
	if err := prove(t, &info, payload, c); err != nil {
		return nil, nil, rep, err
	}
	return payload, currents, rep, nil
}

// prove unpacks a clip again and compares every frame: what a reader will see
// is what was meant.
func prove(t *Show, info *ClipInfo, payload []byte, c *Clip) error {
	d, err := newDecoder(t, info, payload)
	if err != nil {
		return err
	}
	got := make([]uint8, c.Channels)
	for f := 0; f < c.Frames; f++ {
		if err := d.Next(got); err != nil {
			return err
		}
		if !bytes.Equal(got, c.Bytes[f*c.Channels:(f+1)*c.Channels]) {
			return fmt.Errorf("table: clip %q: frame %d does not come back as it was; please report this: %w", c.Name, f, ErrData)
		}
	}
	return d.end()
}

// firstLitMissing finds a frame that lights a pixel without an address, or -1.
func firstLitMissing(t *Show, c *Clip) int {
	off := 0
	for i := range t.Strips {
		dies := t.Parts[t.Strips[i].Part].Dies
		for _, px := range t.Strips[i].Missing {
			for f := 0; f < c.Frames; f++ {
				at := f*c.Channels + off + px*dies
				for _, code := range c.Bytes[at : at+dies] {
					if code != 0 {
						return f
					}
				}
			}
		}
		off += t.Strips[i].Pixels * dies
	}
	return -1
}

// choose packs a clip in every kind that may win and keeps the smallest, the
// simpler one on a tie.
func choose(t *Show, c *Clip, pack Pack) (payload []byte, kind Kind, why string) {
	still := true
	for f := 1; f < c.Frames && still; f++ {
		still = bytes.Equal(c.Bytes[:c.Channels], c.Bytes[f*c.Channels:(f+1)*c.Channels])
	}
	payload, kind, why = c.Bytes, Raw, "no prediction is smaller than its codes"
	if still {
		payload, kind, why = c.Bytes[:c.Channels], Still, "all frames are equal"
	}
	keys := 0
	if c.Value {
		keys = valueKeys
	}
	blocks := []int{8}
	if pack == Best {
		blocks = []int{8, 2, 3, 4, 6, 12, 16, 32}
	}
	for _, block := range blocks {
		if b := packPredict(t, c, block, keys, pack == Best); len(b) < len(payload) {
			payload, kind, why = b, Predict, fmt.Sprintf("predicted, in blocks of %d pixels", block)
		}
	}
	return payload, kind, why
}

// valueKeys is the number of frames from key to key in a clip that follows a
// value: a jump backwards unpacks at most that many frames. Every key costs a
// whole first frame.
const valueKeys = 8

// packCurrents stores every clip's currents as milliamperes rounded up, each as
// its difference to the one before in zigzag order, seven bits a byte, lowest
// first (docs/table-format.md, section 5).
func packCurrents(clips [][]int64) []byte {
	var b []byte
	for _, currents := range clips {
		last := int64(0)
		for _, ua := range currents {
			ma := (ua + 999) / 1000
			b = binary.AppendVarint(b, ma-last)
			last = ma
		}
	}
	return b
}
