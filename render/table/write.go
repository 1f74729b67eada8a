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
	Random   bool // begins at a frame drawn by lot each time it is entered

	// Smooth lets the clip be kept as key frames; nil keeps every frame equal.
	Smooth *Smooth
}

// packed is a clip as one kind stores it.
type packed struct {
	payload []byte
	kind    Kind
	why     string   // in words
	work    int      // bytes of memory that unpacking needs beside the frame
	cycles  []uint32 // a bound for every frame; nil: none is known
}

// Pack says how hard the writer looks for a small table.
type Pack uint8

const (
	// Quick weighs two or three ways of coding a clip, with few older frames.
	Quick Pack = iota
	// Best weighs all ways of joining strips, of predictions and of contexts: some
	// five times the work for a few per cent of the bytes, and more where cycles
	// are scarce.
	Best
	// Plain stores codes as they are, still or raw: no work memory, the fewest
	// cycles, the most bytes.
	Plain
)

// Options of Write. The zero value works: Quick, one worker per processor.
type Options struct {
	Pack    Pack
	Workers int // at most this many clips at once; 0: one per processor. The bytes do not depend on it

	// Progress is told of frames as their clips are packed; it may be called from
	// several goroutines. nil: nobody is.
	Progress func(frames int)

	Kept *Kept // what was packed before; nil: everything is packed

	Work   int // bytes of memory that unpacking may use beside the frame; 0: DefaultWork
	Cycles int // processor cycles that unpacking a frame may take; 0: DefaultCycles
}

// What a controller of the ATmega2560's class leaves to unpacking when nothing
// else is said: 8 KiB of memory and 16 MHz, 240 pixels, 30 frames a second, two
// fifths of the processor kept for the machine, and CountCycles for every pixel.
const (
	DefaultWork   = 4300
	DefaultCycles = 174_800
)

// limits are the options' for a clip, defaults filled in.
func (o Options) limits(c *Clip) codedLimits {
	lim := codedLimits{work: o.Work, cycles: o.Cycles, best: o.Pack == Best, hop: c.Value}
	if lim.work == 0 {
		lim.work = DefaultWork
	}
	if lim.cycles == 0 {
		lim.cycles = DefaultCycles
	}
	if c.Random {
		lim.every = (c.Frames + randomStarts - 1) / randomStarts
	}
	return lim
}

// Report says what became of the clips.
type Report struct {
	Bytes int // of the whole table
	Clips []ClipReport
	Table *Table // the bytes read back, every frame decoded and compared; it keeps the clips' codes
}

// ClipReport is one clip's result.
type ClipReport struct {
	Name  string
	Kind  Kind
	Bytes int    // payload and checksum
	Raw   int    // what it would take as plain codes
	Why   string // why this kind, in words
	Peak  int64  // microamperes

	Work   int    // bytes of memory beside the frame that unpacking needs
	Cycles uint32 // bound of the costliest frame, processor cycles; 0: none is known

	Mean, High float64 // of kind keys: mean and 95th percentile of its difference, CIEDE2000
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
	o.Kept.turn()
	h := &Header{Show: *t, Version: Version}
	payloads := make([]packed, len(clips))
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
				payloads[i], currents[i], reports[i], errs[i] = packClip(t, meter, &clips[i], o)
				if o.Progress != nil {
					o.Progress(clips[i].Frames)
				}
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

	cycles := make([][]uint32, len(clips))
	for i := range clips {
		h.Clips[i] = payloads[i].info(&clips[i])
		h.Clips[i].Peak = reports[i].Peak
		cycles[i] = payloads[i].cycles
	}
	h.Panel = h.PanelSum()
	h.HeaderLength = len(h.marshal())
	at := h.HeaderLength
	for i := range h.Clips {
		h.Clips[i].Offset = at
		at += h.Clips[i].Length + 4
	}
	h.NotesOffset = at
	nb := h.notes(currents, cycles)
	h.TableLength = at + len(nb)
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
		// Not sealed(p.payload): a payload may be the caller's own codes.
		out.Write(p.payload)
		out.Write(binary.LittleEndian.AppendUint32(nil, crc32.ChecksumIEEE(p.payload)))
	}
	out.Write(nb)
	back, err := read(out.Bytes(), Limits{Bytes: 1<<31 - 1, Decoded: 1 << 62}, currents)
	if err != nil {
		return Report{}, fmt.Errorf("table: what was written does not read back; please report this: %w", err)
	}
	for i := range clips {
		if !back.Clips[i].Kind.Between() {
			back.clips[i].frames = clips[i].Bytes
		}
	}
	if _, err := w.Write(out.Bytes()); err != nil {
		return Report{}, fmt.Errorf("table: writing: %w", err)
	}
	return Report{Bytes: out.Len(), Clips: reports, Table: back}, nil
}

// packClip chooses a kind for one clip and proves it.
func packClip(t *Show, meter *power.Meter, c *Clip, o Options) (packed, []int64, ClipReport, error) {
	fail := func(format string, args ...any) (packed, []int64, ClipReport, error) {
		return packed{}, nil, ClipReport{}, fmt.Errorf("table: clip %q: %s: %w", c.Name, fmt.Sprintf(format, args...), ErrData)
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
	if c.Smooth != nil && o.Pack != Plain {
		return packSmooth(t, meter, c, o)
	}
	for f := range currents {
		currents[f] = meter.Current(c.Bytes[f*size : (f+1)*size])
		if c.Current != nil && c.Current[f] != currents[f] {
			return fail("frame %d draws %s by its codes, %s was given", f, power.Amps(currents[f]), power.Amps(c.Current[f]))
		}
		rep.Peak = max(rep.Peak, currents[f])
	}
	key := [32]byte{}
	known := false
	var p packed
	if o.Kept != nil {
		key = keyOf(t, c, o)
		p, known = o.Kept.known(key)
	}
	if !known {
		p = choose(t, c, o)
	}
	if p.cycles != nil && len(p.cycles) != c.Frames {
		return fail("costs of %d frames for %d; please report this", len(p.cycles), c.Frames)
	}
	info := p.info(c)
	rep.Kind, rep.Why, rep.Bytes = p.kind, p.why, len(p.payload)+4
	rep.Work, rep.Cycles = p.work, info.Cycles
	if !known {
		if err := prove(t, &info, p.payload, c); err != nil {
			return packed{}, nil, rep, err
		}
		o.Kept.keep(key, p)
	}
	return p, currents, rep, nil
}

// info is the record of a clip stored so, before it has a place.
func (p *packed) info(c *Clip) ClipInfo {
	most := uint32(0)
	for _, cycles := range p.cycles {
		most = max(most, cycles)
	}
	return ClipInfo{Name: c.Name, Frames: c.Frames, Kind: p.kind, Value: c.Value, Loop: c.Loop, Random: c.Random,
		Length: len(p.payload), Work: p.work, Cycles: most}
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
	return nil
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
func choose(t *Show, c *Clip, o Options) packed {
	still := true
	for f := 1; f < c.Frames && still; f++ {
		still = bytes.Equal(c.Bytes[:c.Channels], c.Bytes[f*c.Channels:(f+1)*c.Channels])
	}
	p := packed{payload: c.Bytes, kind: Raw, why: "no prediction is smaller than its codes"}
	if still {
		p = packed{payload: c.Bytes[:c.Channels], kind: Still, why: "all frames are equal"}
	}
	if o.Pack == Plain {
		return p
	}
	if x := packCoded(t, c, o.limits(c)); x != nil && len(x.payload) < len(p.payload) {
		p = packed{payload: x.payload, kind: Coded, why: x.why(), work: x.k.work(), cycles: x.cycles}
	}
	return p
}

// randomStarts is the number of frames at which a clip that begins anywhere
// can begin.
const randomStarts = 8
