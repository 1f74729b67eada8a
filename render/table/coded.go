package table

import (
	"errors"
	"fmt"
)

// coded is what a clip of kind coded says of itself before its bits
// (docs/table-format.md, section 4.3).
type coded struct {
	palette   bool
	wrap      bool   // shifted predictions go round within a stretch
	history   bool   // a byte for every sample: how long it has stood, where it went
	second    second // the second context of a sample's first bits
	shift     uint8  // of the value in it
	slots     int    // older frames kept, 0 to 15
	colours   int    // of the palette, each of dies bytes
	dies      int
	bytes     int // of a plane: one a pixel with a palette, else the frame's
	stretches []stretch
	period    int     // frames until it begins again
	starts    []start // where decoding can begin, the first at frame 0
}

// second says which second context a sample's first two bits have.
type second uint8

const (
	alone   second = iota // none
	byValue               // the predicted value, and whether the sample would change
	byShape               // the neighbours on both sides, the last residual
	seconds
)

// stretch is a run of pixels of one kind in a plane: coded, or copied from
// pixels before it, because they were equal in every frame.
type stretch struct {
	at     int // of its first byte
	stride int // bytes a pixel
	pixels int
	how    howCopied
	from   int // byte of the pixel that the first one copies
}

type howCopied uint8

const (
	isCoded    howCopied = iota
	isForward            // pixel i copies the i-th from `from` on
	isBackward           // pixel i copies the i-th before `from`
	isSame               // every pixel copies `from`
)

type start struct {
	frame int
	at    int // in the payload
}

// Sizes of the coder's memory, one byte a context unless said otherwise.
const (
	pastCells  = 5 * 5 * 4 * 3 * 2 // first context with history
	slopeCells = 5 * 5 * 3 * 2     // first context without
	shapeCells = 5 * 5 * 3 * 3 * 2
	sizeCells  = 2 * 4 * 4 // residuals over 1, over 2
	tailCells  = 4 * 16    // their lengths
	frameCells = 5 + 16    // same, raw, light, same prediction, bare; planes equal to theirs
	plainCells = sizeCells + tailCells + frameCells
	mostPlanes = 16
	mostAside  = 16 // slots
)

func (k *coded) firstCells() int {
	if k.history {
		return pastCells
	}
	return slopeCells
}

func (k *coded) secondCells() int {
	switch k.second {
	case byValue:
		hi := 255
		if k.palette {
			hi = k.colours - 1
		}
		return (hi>>k.shift + 1) * 3 * 2
	case byShape:
		return shapeCells
	}
	return 0
}

// work is the memory that a player needs besides the frame: contexts, a
// prediction of three bytes a stretch, the palette, history, older frames.
func (k *coded) work() int {
	n := plainCells + k.firstCells() + k.secondCells() + 3*len(k.stretches) + k.colours*k.dies + k.slots*k.bytes
	if k.history {
		n += k.bytes
	}
	return n
}

// prediction says where a stretch's samples are expected: in frame n before
// this one, k pixels on, corrected in one of six ways.
type prediction struct {
	by  correction
	n   int // 1 the last frame
	off int // pixels, -16..15
}

type correction uint8

const (
	asBase   correction = iota // the sample found there
	asSlope                    // and the whole step of the sample before
	asHalf                     // and half of it
	asBefore                   // the sample before, in this frame
	asLinear                   // last and second last frame, carried on
	asAgain                    // base, and the last step once more if it was just now
	corrections
)

var still1 = prediction{asBase, 1, 0}

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

// plane codes or follows one channel of a stretch. src, the wanted frame, is
// read by encoders only. It reports whether every value is a value.
//
// The base of sample i is b, of the next one r, of the one before l; p is the
// prediction, was the sample's last value.
func (m *model) plane(s *stretch, ch int, how prediction, free bool, src []uint8) bool {
	base := m.frame
	j := how.off
	if how.n > 1 || j != 0 {
		base = m.older(how.n)
	}
	var older []uint8
	if how.by == asLinear {
		older = m.older(2)
	}
	n, stride, hi := s.pixels, s.stride, m.hi
	origin := s.at + ch
	frame, history := m.frame, m.history
	find := func(j int) int {
		switch {
		case j >= 0 && j < n:
		case !m.k.wrap && j < 0:
			j = 0
		case !m.k.wrap:
			j = n - 1
		default:
			if j %= n; j < 0 {
				j += n
			}
		}
		return int(base[origin+j*stride])
	}
	b := find(j)
	l, left := b, b
	e1, e2 := 0, 0 // the last two residuals
	m.toil.planes++
	if free {
		m.toil.free += n
	} else {
		m.toil.samples += n
	}
	paired := m.pair != alone
	for x, i := origin, 0; i < n; i, x = i+1, x+stride {
		r := b
		if i+1 < n {
			j++
			if j > 0 && j < n {
				r = int(base[origin+j*stride])
			} else {
				r = find(j)
			}
		}
		was := int(frame[x])
		p := b
		switch how.by {
		case asSlope:
			p = b + left - l
		case asHalf:
			p = b + (left-l)>>1
		case asBefore:
			p = left
		case asLinear:
			p = 2*was - int(older[x])
		case asAgain:
			if h := history[x]; h == 1 {
				p++
			} else if h == 2 {
				p--
			}
		}
		p = min(max(p, 0), hi)
		v := p
		if !free {
			bl, br := near(l-p)*5, near(r-p)
			var ctx int
			if history != nil {
				h := history[x]
				ctx = ((bl+br)*4+int(spans4[h>>2]))*3 + int(h&3)
			} else {
				ctx = (bl+br)*3 + side(b+left-l-p)
			}
			first := m.first[2*ctx : 2*ctx+2]
			e := 0
			if src != nil {
				e = int(src[x]) - p
			}
			var zero int
			if paired {
				var c2 int
				if m.pair == byValue {
					c2 = p>>m.k.shift*3 + side(was-p)
				} else {
					c2 = ((near(left-p)*5+br)*3+side(was-p))*3 + side(e1)
				}
				second := m.second[2*c2 : 2*c2+2]
				zero = m.mixed(&m.weights[0], &first[0], &second[0], isZero(e))
				if zero == 0 {
					e = m.residual(m.mixed(&m.weights[1], &first[1], &second[1], isNegative(e)), e, e1, e2)
				}
			} else {
				zero = m.single(&first[0], isZero(e))
				if zero == 0 {
					e = m.residual(m.single(&first[1], isNegative(e)), e, e1, e2)
				}
			}
			if zero != 0 {
				e = 0
			}
			v = p + e
			if uint(v) > uint(hi) {
				return false
			}
			e1, e2 = e, e1
		}
		frame[x] = uint8(v)
		if history != nil {
			history[x] = since(history[x], uint8(v), uint8(was))
		}
		l, left, b = b, v, r
	}
	m.toil.by[how.by] += n
	if history != nil {
		m.toil.past += n
	}
	if !free {
		switch m.pair {
		case byValue:
			m.toil.valued += n
		case byShape:
			m.toil.shaped += n
		}
	}
	return true
}

// residual codes the rest of a residual that is not 0.
func (m *model) residual(negative, e, e1, e2 int) int {
	if e < 0 {
		e = -e
	}
	a, b := size3(e1), size3(e2)
	got := 1
	if m.single(&m.size[0][a][b], over(e, 1)) != 0 {
		got = 2
		if m.single(&m.size[1][a][b], over(e, 2)) != 0 {
			t := &m.tail[min((magnitude(e1)+magnitude(e2))>>3, 3)]
			w := e - 2 // 1 and more
			l := 0
			for l < 7 && m.single(&t[l], over(w, 2<<l-1)) != 0 {
				l++
			}
			got = 1
			if l > 0 {
				got = 2 | m.single(&t[7+l], w>>max(l-1, 0)&1)
				for k := l - 2; k >= 0; k-- {
					got = got<<1 | m.half(w>>k&1)
				}
			}
			got += 2
		}
	}
	if negative != 0 {
		return -got
	}
	return got
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

// spans4 is the class of how many frames a sample has stood: 0, 1 to 3, 4 to
// 15, 16 and more.
var spans4 = [17]uint8{0, 1, 1, 1, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 3}

// near is a difference limited to -2..2, as 0..4; side is its sign as 0..2.
func near(d int) int { return min(max(d, -2), 2) + 2 }
func side(d int) int { return min(max(d, -1), 1) + 1 }

func magnitude(d int) int {
	if d < 0 {
		return -d
	}
	return d
}
func size3(d int) int { return min(magnitude(d), 3) }
func over(v, than int) int {
	if v > than {
		return 1
	}
	return 0
}
func isZero(e int) int {
	if e == 0 {
		return 1
	}
	return 0
}
func isNegative(e int) int {
	if e < 0 {
		return 1
	}
	return 0
}

// errCoded says what is wrong with a coded clip's bytes.
var errCoded = errors.New("its bits make no frame")

// next codes the next frame: src is the wanted frame for an encoder, plan its
// predictions; both nil for a decoder.
func (m *model) next(src []uint8, plan *plan) error {
	k := m.k
	m.push()
	bit := 0
	if plan != nil && plan.same {
		bit = 1
	}
	if m.single(&m.same, bit) != 0 {
		if k.history {
			m.age()
		}
		return nil
	}
	bit = 0
	if plan != nil && plan.raw {
		bit = 1
	}
	if m.single(&m.raw, bit) != 0 {
		return m.rawFrame(src)
	}
	if m.pair = k.second; m.pair != alone {
		bit = 0
		if plan != nil && plan.light {
			bit = 1
		}
		if m.single(&m.light, bit) != 0 {
			m.pair = alone
		}
	}
	number := 0
	for i := range k.stretches {
		s := &k.stretches[i]
		m.toil.entries++
		if s.how != isCoded {
			m.copyOut(s)
			continue
		}
		want := m.how[i]
		if plan != nil {
			want = plan.how[i]
		}
		if err := m.predictBy(i, want); err != nil {
			return err
		}
		for ch := range s.stride {
			free := 0
			if plan != nil && plan.equal[i]>>ch&1 != 0 {
				free = 1
			}
			free = m.single(&m.equal[min(number, mostPlanes-1)], free)
			number++
			if free == 0 {
				bare := 0
				if plan != nil && plan.bare != nil {
					bare = int(plan.bare[i] >> ch & 1)
				}
				if m.single(&m.bare, bare) != 0 {
					if !m.asItIs(s.at+ch, s.stride, s.pixels, src) {
						return errCoded
					}
					continue
				}
			}
			if !m.plane(s, ch, m.how[i], free != 0, src) {
				return errCoded
			}
		}
	}
	return nil
}

// predictBy codes the prediction of a stretch.
func (m *model) predictBy(i int, want prediction) error {
	kept := 0
	if want == m.how[i] {
		kept = 1
	}
	if m.single(&m.keep, kept) != 0 {
		return nil
	}
	by := correction(m.number(int(want.by), 3))
	moved := 0
	if want.n > 1 || want.off != 0 {
		moved = 1
	}
	got := prediction{by, 1, 0}
	if m.half(moved) != 0 {
		got.n = m.number(want.n-1, 4) + 1
		got.off = m.number(want.off+16, 5) - 16
	}
	m.how[i] = got
	switch {
	case by >= corrections:
		return fmt.Errorf("correction %d: %w", by, errCoded)
	case (got.n > 1 || got.off != 0) && got.n > m.k.slots:
		return fmt.Errorf("a prediction from %d frames ago, %d are kept: %w", got.n, m.k.slots, errCoded)
	case by == asLinear && m.k.slots < 2:
		return fmt.Errorf("a linear prediction, %d frames are kept: %w", m.k.slots, errCoded)
	case by == asAgain && !m.k.history:
		return fmt.Errorf("a repeated step without history: %w", errCoded)
	}
	return nil
}

// rawFrame codes a frame as it is.
func (m *model) rawFrame(src []uint8) error {
	if !m.asItIs(0, 1, len(m.frame), src) {
		return errCoded
	}
	return nil
}

// asItIs codes n samples as they are, in whole bytes between the bits. It
// reports whether every value is one.
func (m *model) asItIs(at, stride, n int, src []uint8) bool {
	m.toil.raw += n
	switch m.way {
	case encoding:
		m.finish()
	case weighing:
		m.spent += uint64(n+3) * 8 * 256
	}
	for x := at; n > 0; n, x = n-1, x+stride {
		var v uint8
		if m.way == decoding {
			v = m.byte()
		} else {
			v = src[x]
		}
		if m.way == encoding {
			m.out = append(m.out, v)
		}
		if int(v) > m.hi {
			return false
		}
		m.follow(x, v)
	}
	if m.way != weighing {
		m.begin()
	}
	return true
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

// plan is an encoder's choice for a frame.
type plan struct {
	same, raw bool
	light     bool // without second contexts
	how       []prediction
	equal     []uint8 // bit per channel
	bare      []uint8 // bit per channel that is stored as it is; may be nil
}
