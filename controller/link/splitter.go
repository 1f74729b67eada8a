package link

import "time"

// Splitter takes a line apart into frames and the text between them, byte by
// byte, as the controller does. The zero value stands in text.
//
// Text goes to Text at once. After a 0x00 the first byte waits for the second:
// the second byte of a frame is its kind, which is no text, so two bytes of text
// (printable ASCII, tabulator, line feed, carriage return, bytes from 0x80) are
// the end of the waiting, and a zero that the line lost or invented costs the
// text nothing. Every zero closes and opens, so frames may share one.
//
// Half a frame, a broken one and one that is too long are counted and dropped
// up to the next zero or a pause: they are never taken for text.
type Splitter struct {
	Frame func(Frame)
	Text  func([]byte) // valid during the call; nil drops text

	Lost int // what was neither a frame nor text

	buf  [MostWire]byte
	n    int
	mode uint8
	last time.Time // of the byte before, outside text
}

const (
	inText  uint8 = iota
	inFrame       // after a zero
	inRest        // of something broken
)

// Write takes bytes that came at a moment.
func (s *Splitter) Write(b []byte, now time.Time) {
	for len(b) > 0 {
		if s.mode == inText {
			n := 0
			for n < len(b) && b[n] != 0 {
				n++
			}
			s.text(b[:n])
			b = b[n:]
		}
		if len(b) == 0 {
			return
		}
		c := b[0]
		b = b[1:]
		s.last = now
		switch {
		case c == 0:
			s.close()
		case s.mode == inRest:
		case s.n == MostWire-2:
			s.drop()
		default:
			s.buf[s.n] = c
			if s.n++; s.n == 2 && textual(c) {
				s.noFrame()
			}
		}
	}
}

// Tick ends what has waited longer than limit for its next byte: one byte of
// text goes to the text, half a frame is dropped, and its other half, should it
// still come, is not taken for text. Call it when the line is quiet; FrameTime
// is a good limit, and then the longest that a byte of text ever waits.
func (s *Splitter) Tick(now time.Time, limit time.Duration) {
	if s.mode == inText || now.Sub(s.last) < limit {
		return
	}
	switch {
	case s.mode == inRest:
		s.mode, s.n = inFrame, 0
	case s.n == 1:
		s.noFrame()
	case s.n > 1:
		s.last = now
		s.drop()
	}
}

// Waiting tells that a pause may still change something: Tick is to be called.
func (s *Splitter) Waiting() bool { return s.mode == inRest || s.mode == inFrame && s.n > 0 }

// close ends what stood before a zero, which opens the next frame.
func (s *Splitter) close() {
	mode, n := s.mode, s.n
	s.mode, s.n = inFrame, 0
	switch {
	case mode != inFrame || n == 0:
	case n == 1 && textual(s.buf[0]):
		s.text(s.buf[:1])
	default:
		f, err := Open(s.buf[:n])
		if err != nil {
			s.Lost++
		} else if s.Frame != nil {
			s.Frame(f)
		}
	}
}

// noFrame is told by one byte and a pause, or by the second byte.
func (s *Splitter) noFrame() {
	if !textual(s.buf[0]) {
		s.drop()
		return
	}
	n := s.n
	s.mode, s.n = inText, 0
	s.text(s.buf[:n])
}

// drop counts what was collected as lost, and all that follows with it.
func (s *Splitter) drop() {
	s.Lost++
	s.mode, s.n = inRest, 0
}

func (s *Splitter) text(b []byte) {
	if len(b) > 0 && s.Text != nil {
		s.Text(b)
	}
}

// textual tells bytes that a text protocol sends.
func textual(c byte) bool {
	return c >= 0x20 && c != 0x7f || c == '\t' || c == '\n' || c == '\r'
}

// FrameTime is how long the next byte of a frame may be under way at a baud
// rate, 8N1: a whole frame's length, and 20 ms for an operating system that
// sends it in two parts.
func FrameTime(baud int) time.Duration {
	return time.Duration(MostWire)*10*time.Second/time.Duration(baud) + 20*time.Millisecond
}
