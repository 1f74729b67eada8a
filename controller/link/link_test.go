package link

import (
	"bytes"
	"encoding/hex"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func unhex(t require.TestingT, s string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	require.NoError(t, err)
	return b
}

// run gives the bytes from a to b.
func run(a, b int) (out []byte) {
	for i := a; i <= b; i++ {
		out = append(out, byte(i))
	}
	return out
}

// Source: the examples in general use with Cheshire and Baker's paper (IEEE/ACM
// ToN 7(2), 1999), and the IP header of its figure 3, which is from memory.
func TestStuffing(t *testing.T) {
	for _, c := range []struct {
		plain, stuffed []byte
	}{
		{nil, unhex(t, "01")},
		{unhex(t, "00"), unhex(t, "01 01")},
		{unhex(t, "00 00"), unhex(t, "01 01 01")},
		{unhex(t, "00 11 00"), unhex(t, "01 02 11 01")},
		{unhex(t, "11 22 00 33"), unhex(t, "03 11 22 02 33")},
		{unhex(t, "11 22 33 44"), unhex(t, "05 11 22 33 44")},
		{unhex(t, "11 00 00 00"), unhex(t, "02 11 01 01 01")},
		{run(1, 254), append([]byte{0xff}, run(1, 254)...)},
		{run(0, 254), append([]byte{1, 0xff}, run(1, 254)...)},
		{run(1, 255), append(append([]byte{0xff}, run(1, 254)...), 2, 0xff)},
		{append(run(2, 255), 0), append(append([]byte{0xff}, run(2, 255)...), 1, 1)},
		{append(run(3, 255), 0, 1), append(append([]byte{0xfe}, run(3, 255)...), 2, 1)},
		{unhex(t, "45 00 00 2C 4C 79 00 00 40 06 4F 37"), unhex(t, "02 45 01 04 2C 4C 79 01 05 40 06 4F 37")},
	} {
		require.Equal(t, c.stuffed, AppendStuffed(nil, c.plain))
		back, err := AppendUnstuffed(nil, c.stuffed)
		require.NoError(t, err)
		require.Equal(t, string(c.plain), string(back))
	}
	// Some encoders end a full block with an empty one.
	back, err := AppendUnstuffed(nil, append(append([]byte{0xff}, run(1, 254)...), 1))
	require.NoError(t, err)
	require.Equal(t, run(1, 254), back)
	for _, bad := range []string{"00", "01 00", "03 11", "03 11 00", "02 00", "ff 01"} {
		got, err := AppendUnstuffed([]byte("kept"), unhex(t, bad))
		require.ErrorIs(t, err, ErrStuffing, bad)
		require.Equal(t, "kept", string(got))
	}
}

func TestStuffingProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plain := rapid.SliceOfN(rapid.OneOf(rapid.Byte(), rapid.Just(byte(0)), rapid.Just(byte(7))), 0, 1100).Draw(t, "plain")
		stuffed := AppendStuffed(nil, plain)
		require.NotContains(t, stuffed, byte(0))
		require.LessOrEqual(t, len(stuffed), len(plain)+1+len(plain)/254)
		back, err := AppendUnstuffed(nil, stuffed)
		require.NoError(t, err)
		require.Equal(t, string(plain), string(back))
	})
}

// Source: the public catalogue of CRC parameters, CRC-16/IBM-3740: its check
// value, and the values of no byte, one zero and all bytes by its definition.
func TestCRC(t *testing.T) {
	require.Equal(t, uint16(0x29b1), CRC([]byte("123456789")))
	require.Equal(t, uint16(0xffff), CRC(nil))
	require.Equal(t, uint16(0xe1f0), CRC([]byte{0}))
	require.Equal(t, uint16(0x3fbd), CRC(run(0, 255)))
}

// drawFrame draws any message.
func drawFrame(t *rapid.T) Frame {
	kinds := []Kind{Hello, State, Value, Level, Clock, Load, Loads, Alive, Counters, Pass, Granted, Begin, Block, Copy, Verify, Switch, Read, Service, Probe, Log, Stream, Want, OpenStream, CloseStream, Dead}
	return Frame{
		Kind: rapid.SampledFrom(kinds).Draw(t, "kind"),
		Seq:  rapid.Byte().Draw(t, "seq"),
		Body: rapid.SliceOfN(rapid.OneOf(rapid.Byte(), rapid.ByteRange(' ', '~'), rapid.Just(byte(0))), 0, MostBody).Draw(t, "body"),
	}
}

// Kinds are no text, so that no frame is given back as text.
func TestKindsAreNoText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawFrame(t)
		require.False(t, textual(byte(f.Kind)), f.Kind)
		wire := Append(nil, f)
		require.LessOrEqual(t, len(wire), MostWire)
		require.Equal(t, 1, bytes.Count(wire[1:], []byte{0}), "no zero inside")
		back, err := Open(wire[1 : len(wire)-1])
		require.NoError(t, err)
		require.Equal(t, f.Kind, back.Kind)
		require.Equal(t, f.Seq, back.Seq)
		require.Equal(t, string(f.Body), string(back.Body))
		inside, text := wire[1:len(wire)-1], true
		for _, c := range inside {
			text = text && textual(c)
		}
		require.False(t, text)
	})
}

// Every single changed bit of a frame is noticed.
func TestEveryBitCounts(t *testing.T) {
	wire := Append(nil, Frame{State, 9, []byte{3, 0, 'x', 0xff}})
	inside := wire[1 : len(wire)-1]
	for bit := range len(inside) * 8 {
		bad := append([]byte(nil), inside...)
		bad[bit/8] ^= 1 << (bit % 8)
		_, err := Open(bad)
		require.ErrorIs(t, err, ErrFrame, "bit %d", bit)
	}
	for n := range inside {
		_, err := Open(inside[:n])
		require.ErrorIs(t, err, ErrFrame, "cut at %d", n)
	}
}

// heard collects what a splitter tells.
type heard struct {
	Splitter
	frames []Frame
	text   []byte
}

func newHeard() *heard {
	h := &heard{}
	h.Frame = func(f Frame) { h.frames = append(h.frames, f) }
	h.Text = func(b []byte) { h.text = append(h.text, b...) }
	return h
}

// Frames between any pieces of text come out as they went in, however the line
// cuts them up, and the text is whole.
func TestSplitterProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var wire []byte
		var frames []Frame
		text := ""
		for range rapid.IntRange(0, 8).Draw(t, "pieces") {
			if rapid.Bool().Draw(t, "frame") {
				f := drawFrame(t)
				frames = append(frames, f)
				wire = Append(wire, f)
				continue
			}
			s := rapid.StringMatching(`([ -~\r\n\t]{2,40})?`).Draw(t, "text")
			text += s
			wire = append(wire, s...)
		}
		h := newHeard()
		now := time.Unix(0, 0)
		for len(wire) > 0 {
			n := rapid.IntRange(1, len(wire)).Draw(t, "n")
			h.Write(wire[:n], now)
			wire = wire[n:]
		}
		require.Equal(t, text, string(h.text))
		require.Len(t, h.frames, len(frames))
		for i, f := range frames {
			require.Equal(t, f.Kind, h.frames[i].Kind)
			require.Equal(t, string(f.Body), string(h.frames[i].Body))
		}
		require.Zero(t, h.Lost)
	})
}

// Text passes at once: every byte is out before the next one goes in.
func TestTextWaitsForNothing(t *testing.T) {
	h := newHeard()
	for i, c := range []byte("move 12\r\n") {
		h.Write([]byte{c}, time.Unix(0, 0))
		require.Len(t, h.text, i+1)
	}
}

// A zero that was lost or invented costs one frame at most, and no text.
func TestSplitterFindsItsWayBack(t *testing.T) {
	now := time.Unix(0, 0)
	frame := Append(nil, Frame{State, 1, []byte{4}})
	for _, c := range []struct {
		name   string
		wire   string
		frames int
		text   string
		lost   int
	}{
		{"a zero invented in text", "ab\x00cd\n" + string(frame) + "ef", 1, "abcd\nef", 0},
		{"a zero invented before the last byte", "ab\x00\n" + string(frame) + "ef", 1, "ab\nef", 0},
		{"the closing zero lost", "ab" + string(frame[:len(frame)-1]) + string(frame) + string(frame) + "ef", 3, "abef", 0},
		{"and nothing follows", string(frame[:len(frame)-1]) + "ef", 0, "", 1},
		{"two frames share a zero", string(frame) + string(frame[1:]) + string(frame) + "ef", 3, "ef", 0},
		{"text that begins with a control character", string(frame) + "\x1b[2Jef" + string(frame), 2, "", 1},
		{"or whose second byte is one", string(frame) + "e\x1b[2J" + string(frame), 2, "", 1},
		{"text with one further on", string(frame) + "ef\x1b[2J" + string(frame), 2, "ef\x1b[2J", 0},
		{"three zeros", "\x00\x00" + string(frame) + "ef", 1, "ef", 0},
		{"a flipped bit", string(frame[:3]) + "\x7f" + string(frame[4:]) + string(frame) + "ef", 1, "ef", 1},
	} {
		h := newHeard()
		h.Write([]byte(c.wire), now)
		h.Tick(now.Add(time.Second), time.Second)
		h.Tick(now.Add(2*time.Second), time.Second)
		require.Len(t, h.frames, c.frames, c.name)
		require.Equal(t, c.text, string(h.text), c.name)
		require.Equal(t, c.lost, h.Lost, c.name)
	}
}

func TestSplitterGivesBackInTime(t *testing.T) {
	h := newHeard()
	now := time.Unix(0, 0)
	h.Write([]byte("a\x00s"), now)
	require.Equal(t, "a", string(h.text))
	limit := FrameTime(115200)
	require.Equal(t, 42309*time.Microsecond, limit.Truncate(time.Microsecond))
	h.Tick(now.Add(limit-1), limit)
	require.Equal(t, "a", string(h.text), "it may still be a frame")
	h.Tick(now.Add(limit), limit)
	require.Equal(t, "as", string(h.text))
	h.Write([]byte("b\x00st"), now)
	require.Equal(t, "asbst", string(h.text), "two bytes of text wait for nothing")

	// Half a frame is nobody's text, nor is its other half.
	wire := Append(nil, Frame{State, 1, []byte("move")})
	h = newHeard()
	h.Write(wire[:6], now)
	h.Tick(now.Add(limit), limit)
	h.Write(wire[6:], now.Add(limit))
	h.Tick(now.Add(2*limit), limit)
	h.Tick(now.Add(3*limit), limit)
	h.Write([]byte("on\n"), now.Add(3*limit))
	require.Equal(t, "on\n", string(h.text))
	require.Positive(t, h.Lost)
}

// Longer than a frame: text is text, everything else is lost.
func TestSplitterOverflow(t *testing.T) {
	now := time.Unix(0, 0)
	long := strings.Repeat("line of text\n", 40)
	h := newHeard()
	h.Write([]byte("\x00"+long), now)
	require.Equal(t, long, string(h.text))
	require.Zero(t, h.Lost)

	h = newHeard()
	h.Write(append([]byte{0}, bytes.Repeat([]byte{1}, 1000)...), now)
	require.Empty(t, h.text)
	require.Positive(t, h.Lost)
	h.Write(Append(Append([]byte{0}, Frame{Kind: Alive}), Frame{Kind: Alive}), now)
	require.Len(t, h.frames, 2)
}

func FuzzSplitter(f *testing.F) {
	f.Add([]byte("ab\x00cd\n"))
	f.Add(Append([]byte("x"), Frame{Block, 3, run(0, 200)}))
	f.Add(append(Append(nil, Frame{State, 1, []byte{4}})[1:], "tail"...))
	f.Fuzz(func(t *testing.T, wire []byte) {
		h := newHeard()
		now := time.Unix(0, 0)
		h.Write(wire, now)
		require.NotContains(t, h.text, byte(0))
		require.LessOrEqual(t, len(h.text), len(wire))
		// Whatever came, two zeros and a frame are understood.
		h.Tick(now.Add(time.Second), time.Second)
		h.Tick(now.Add(2*time.Second), time.Second)
		n := len(h.frames)
		h.Write(Append([]byte{0}, Frame{Kind: Alive, Seq: 77}), now)
		require.Len(t, h.frames, n+1)
		require.Equal(t, uint8(77), h.frames[n].Seq)
	})
}
