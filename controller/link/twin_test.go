package link

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// buildC builds the C side for this computer with the sanitizers.
func buildC(t testing.TB) string {
	cc, err := exec.LookPath("cc")
	if err != nil {
		t.Skip("NOT TRIED: the C side of the link, there is no C compiler (cc)")
	}
	out := filepath.Join(t.TempDir(), "linkhost")
	b, err := exec.Command(cc, "-std=c99", "-O1", "-g", "-Wall", "-Wextra", "-pedantic", "-Werror",
		"-fsanitize=address,undefined", "-fno-sanitize-recover=all",
		"-o", out, "testdata/linkhost.c", "../player/link.c").CombinedOutput()
	require.NoError(t, err, string(b))
	return out
}

// script is a line as it came, for both sides.
type script struct {
	input bytes.Buffer // of the C program
	want  bytes.Buffer // its output by the Go side
	s     Splitter
}

func newScript() *script {
	sc := &script{}
	sc.s.Frame = func(f Frame) {
		sc.want.Write([]byte{'F', byte(f.Kind), f.Seq, byte(len(f.Body))})
		sc.want.Write(f.Body)
	}
	sc.s.Text = func(b []byte) {
		sc.want.Write([]byte{'T', byte(len(b))})
		sc.want.Write(b)
	}
	return sc
}

// at is the Go side's clock; the C side has its low 32 bits, which wrap.
func (sc *script) at(us uint64) time.Time { return time.Unix(0, int64(us)*1000) }

func (sc *script) byte(c byte, us uint64) {
	sc.input.Write([]byte{'b', c})
	binary.Write(&sc.input, binary.LittleEndian, uint32(us))
	sc.s.Write([]byte{c}, sc.at(us))
}

func (sc *script) tick(us uint64, limit uint32) {
	sc.input.WriteByte('t')
	binary.Write(&sc.input, binary.LittleEndian, []uint32{uint32(us), limit})
	sc.s.Tick(sc.at(us), time.Duration(limit)*time.Microsecond)
}

func (sc *script) restart() {
	sc.input.WriteByte('s')
	sc.want.WriteByte('L')
	binary.Write(&sc.want, binary.LittleEndian, uint16(sc.s.Lost))
	frame, text := sc.s.Frame, sc.s.Text
	sc.s = Splitter{Frame: frame, Text: text}
}

// check runs the C side and compares everything it says.
func (sc *script) check(t require.TestingT, program string) {
	cmd := exec.Command(program)
	cmd.Stdin = &sc.input
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	got, err := cmd.Output()
	require.NoError(t, err, stderr.String())
	if !bytes.Equal(sc.want.Bytes(), got) {
		n := 0
		for n < min(len(got), sc.want.Len()) && got[n] == sc.want.Bytes()[n] {
			n++
		}
		require.Equal(t, fmt.Sprintf("%x", sc.want.Bytes()[n:]), fmt.Sprintf("%x", got[n:]), "from byte %d", n)
	}
}

// The C side hears the same frames and text as the Go side, whatever comes, and
// packs the same bytes; its clock wraps on the way.
func TestTwins(t *testing.T) {
	program := buildC(t)
	rapid.Check(t, func(t *rapid.T) {
		sc := newScript()
		us := uint64(1<<32 - 200_000)
		for range 6 {
			for range rapid.IntRange(0, 12).Draw(t, "pieces") {
				var wire []byte
				switch rapid.IntRange(0, 5).Draw(t, "what") {
				case 0, 1:
					f := drawFrame(t)
					wire = Append(nil, f)
					if rapid.IntRange(0, 3).Draw(t, "broken") == 0 {
						at := rapid.IntRange(0, len(wire)-1).Draw(t, "at")
						if rapid.Bool().Draw(t, "cut") {
							wire = append(wire[:at:at], wire[at+1:]...)
						} else {
							wire[at] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
						}
					}
				case 2:
					wire = []byte(rapid.StringMatching(`[ -~\r\n\t]{0,300}`).Draw(t, "text"))
				case 3:
					wire = rapid.SliceOfN(rapid.Byte(), 0, 300).Draw(t, "noise")
				case 4:
					wire = []byte{0}
				case 5:
					us += uint64(rapid.IntRange(0, 50_000).Draw(t, "pause"))
					sc.tick(us, 42_309)
				}
				for _, c := range wire {
					us += 87
					sc.byte(c, us)
				}
			}
			sc.restart()
		}
		for range 4 {
			f := drawFrame(t)
			sc.input.Write([]byte{'p', byte(f.Kind), f.Seq, byte(len(f.Body))})
			sc.input.Write(f.Body)
			wire := Append(nil, f)
			sc.want.WriteByte('W')
			binary.Write(&sc.want, binary.LittleEndian, uint16(len(wire)))
			sc.want.Write(wire)
		}
		sc.check(t, program)
	})
}

// Bytes on the brink: bodies around every length, all zeros, none, and frames
// that are too long by one.
func TestTwinsAtTheEdges(t *testing.T) {
	program := buildC(t)
	sc := newScript()
	us := uint64(0)
	hear := func(wire []byte) {
		for _, c := range wire {
			us += 20
			sc.byte(c, us)
		}
	}
	for _, n := range []int{0, 1, 2, 3, 4, 5, 248, 249, 250} {
		for _, fill := range []byte{0, 1, 0xff} {
			f := Frame{Pass, fill, bytes.Repeat([]byte{fill}, n)}
			hear(Append(nil, f))
			sc.input.Write([]byte{'p', byte(f.Kind), f.Seq, byte(n)})
			sc.input.Write(f.Body)
			wire := Append(nil, f)
			sc.want.WriteByte('W')
			binary.Write(&sc.want, binary.LittleEndian, uint16(len(wire)))
			sc.want.Write(wire)
		}
	}
	for _, n := range []int{254, 255, 256, 257, 600} {
		for _, c := range []byte{1, 2, 3, 0xff, 'x'} {
			hear(append(append([]byte{0}, bytes.Repeat([]byte{c}, n)...), 0))
			hear(Append(nil, Frame{Kind: Alive}))
		}
	}
	sc.restart()
	sc.check(t, program)
}

// Pauses on the brink: a lone byte of text, one that is no text, half a frame and its
// other half, a frame of noise; just before the time is up and at it, with the clock
// wrapping meanwhile.
func TestTwinsPause(t *testing.T) {
	program := buildC(t)
	const limit = 42_309
	wire := Append(nil, Frame{State, 9, []byte("ab\x00")})
	sc := newScript()
	for _, us := range []uint64{0, 1<<32 - limit, 1<<32 - 1, 1<<33 - 2*limit} {
		for _, first := range [][]byte{{0}, {0, 'x'}, {0, '\n'}, {0, 1}, {0, 0x7f}, {0, 0xff}, wire[:3], wire[:6], {0, 'x', 1}, {'x'}} {
			for _, pauses := range [][]uint64{{limit - 1}, {limit}, {limit - 1, 1}, {limit, limit - 1}, {limit, limit}, {limit, limit, limit}} {
				for _, c := range first {
					us += 87
					sc.byte(c, us)
				}
				for _, p := range pauses {
					us += p
					sc.tick(us, limit)
				}
				for _, then := range [][]byte{wire[6:], {'y', 'z'}, wire, {'!', '\n'}} {
					for _, c := range then {
						us += 87
						sc.byte(c, us)
					}
				}
				sc.restart()
			}
		}
	}
	sc.check(t, program)
}
