package table

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
	turns     []turn  // how every run of the plane has moved when it does; nil: not
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

// turn is a run of a plane that moves round by some bytes with every period: what
// travels comes again at another place.
type turn struct{ bytes, by int }

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
