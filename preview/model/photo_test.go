package model

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// corners is a picture of 24 x 16 with another colour in each corner: red, green
// above; blue, white below.
func corners() *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, 24, 16))
	for y := range 16 {
		for x := range 24 {
			c := color.RGBA{A: 255}
			switch right, low := x >= 12, y >= 8; {
			case !right && !low:
				c.R = 255
			case right && !low:
				c.G = 255
			case !right:
				c.B = 255
			default:
				c.R, c.G, c.B = 255, 255, 255
			}
			img.Set(x, y, c)
		}
	}
	return img
}

// withTurn puts an Exif block with the tag Orientation behind a JPEG's first
// marker.
func withTurn(b []byte, o uint16, order binary.ByteOrder) []byte {
	word := "MM\x00*"
	if order == binary.LittleEndian {
		word = "II*\x00"
	}
	t := append([]byte("Exif\x00\x00"), word...)
	put := func(v ...any) {
		var s bytes.Buffer
		for _, x := range v {
			if err := binary.Write(&s, order, x); err != nil {
				panic(err)
			}
		}
		t = append(t, s.Bytes()...)
	}
	put(uint32(8), uint16(2))
	put(uint16(0x010f), uint16(2), uint32(4), []byte("cam\x00"))
	put(uint16(0x0112), uint16(3), uint32(1), o, uint16(0))
	put(uint32(0))
	out := append([]byte{}, b[:2]...)
	out = append(out, 0xff, 0xe1, byte((len(t)+2)>>8), byte(len(t)+2))
	return append(append(out, t...), b[2:]...)
}

// TIFF 6.0, "Orientation": the tag says which visual sides the stored row 0 and
// column 0 are. So the stored upper left corner is seen, for 1 to 8: upper left,
// upper right, lower right, lower left, upper left, upper right, lower right,
// lower left; and from 5 on rows are seen as columns.
func TestTurn(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, corners(), &jpeg.Options{Quality: 100}))
	const r, g, bl, w = 'r', 'g', 'b', 'w'
	for o, want := range map[uint16][4]rune{ // seen: upper left, upper right, lower left, lower right
		1: {r, g, bl, w}, 2: {g, r, w, bl}, 3: {w, bl, g, r}, 4: {bl, w, r, g},
		5: {r, bl, g, w}, 6: {bl, r, w, g}, 7: {w, g, bl, r}, 8: {g, w, r, bl},
		0: {r, g, bl, w}, 9: {r, g, bl, w},
	} {
		for _, order := range []binary.ByteOrder{binary.BigEndian, binary.LittleEndian} {
			p, err := decodePhoto("a.jpg", withTurn(b.Bytes(), o, order))
			require.NoError(t, err)
			dw, dh := 24, 16
			if o >= 5 && o <= 8 {
				dw, dh = 16, 24
			}
			require.Equal(t, image.Rect(0, 0, dw, dh), p.img.Rect, "%d", o)
			require.Equal(t, [2]int{dw, dh}, [2]int{p.w, p.h})
			for i, at := range [4][2]int{{2, 2}, {dw - 3, 2}, {2, dh - 3}, {dw - 3, dh - 3}} {
				c := p.img.RGBAAt(at[0], at[1])
				got := 'k'
				switch {
				case c.R > 150 && c.G > 150:
					got = w
				case c.R > 150:
					got = r
				case c.G > 150:
					got = g
				case c.B > 150:
					got = bl
				}
				require.Equal(t, string(want[i]), string(got), "%d, corner %d", o, i)
			}
		}
	}
}

// A large photo is kept smaller and keeps its own measure; its mean stays.
func TestLargePhoto(t *testing.T) {
	img := image.NewGray(image.Rect(0, 0, 5000, 1001))
	for y := range 1001 {
		for x := range 5000 {
			img.Pix[y*img.Stride+x] = uint8(x * 255 / 4999)
		}
	}
	var b bytes.Buffer
	require.NoError(t, (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&b, img))
	p, err := decodePhoto("a.png", b.Bytes())
	require.NoError(t, err)
	require.Equal(t, [2]int{5000, 1001}, [2]int{p.w, p.h})
	require.Equal(t, mostSide, p.img.Rect.Dx())
	require.Equal(t, 410, p.img.Rect.Dy())
	for _, x := range []int{0, 500, 1024, 2047} {
		require.InDelta(t, float64(x)/2047*255, float64(p.img.RGBAAt(x, 200).R), 1)
	}
}

// A small file that claims to be huge is refused before it is unpacked.
func TestHugeClaim(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, image.NewGray(image.Rect(0, 0, 1, 1))))
	raw := b.Bytes()
	binary.BigEndian.PutUint32(raw[16:], 60000)
	binary.BigEndian.PutUint32(raw[20:], 60000)
	fixPNG(raw)
	_, err := decodePhoto("a.png", raw)
	require.ErrorContains(t, err, "60000 x 60000 pixels, the most is 120 million")
}

// fixPNG writes the header's checksum anew.
func fixPNG(raw []byte) {
	binary.BigEndian.PutUint32(raw[29:], crc32.ChecksumIEEE(raw[12:29]))
}

// The newest is offered first; hidden files and folders are none.
func TestPhotosIn(t *testing.T) {
	dir := t.TempDir()
	begin := time.Now().Add(-time.Hour)
	for i, name := range []string{"old.jpg", "new.PNG", "older.jpeg", ".hidden.png", "words.txt"} {
		file := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(file, nil, 0o644))
		at := begin.Add(time.Duration([]int{5, 9, 1, 20, 30}[i]) * time.Minute)
		require.NoError(t, os.Chtimes(file, at, at))
	}
	require.NoError(t, os.Mkdir(filepath.Join(dir, "folder.png"), 0o755))
	require.Equal(t, []string{"new.PNG", "old.jpg", "older.jpeg"}, photosIn(dir))
}

// Both marks lie where they belong, there and back, and every length is scaled
// alike.
func TestMapping(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := func(name string, most float64) Point {
			return Point{rapid.Float64Range(0, most).Draw(t, name+" x"), rapid.Float64Range(0, most).Draw(t, name+" y")}
		}
		p, q := mark{at("pixel 1", 4000), at("mm 1", 2000)}, mark{at("pixel 2", 4000), at("mm 2", 2000)}
		m, err := mapBy(p, q)
		if err != nil {
			return // too near one another: TestMarksEqual
		}
		for _, k := range []mark{p, q} {
			if got := m.mm(k.Pixel); outline([]Point{got, k.At}).length() > 1e-6 {
				t.Fatalf("pixel %v is at %v, not %v", k.Pixel, got, k.At)
			}
			if got := m.pixel(k.At); outline([]Point{got, k.Pixel}).length()*m.scale() > 1e-6 {
				t.Fatalf("place %v is pixel %v, not %v", k.At, got, k.Pixel)
			}
		}
		a, b := at("a", 4000), at("b", 4000)
		want := outline([]Point{a, b}).length() * m.scale()
		if got := (outline{m.mm(a), m.mm(b)}).length(); got < want-1e-6-want*1e-9 || got > want+1e-6+want*1e-9 {
			t.Fatalf("%g mm, not %g", got, want)
		}
	})
}

func TestMarksEqual(t *testing.T) {
	_, err := mapBy(mark{Point{5, 5}, Point{0, 0}}, mark{Point{5, 6}, Point{100, 0}})
	require.ErrorContains(t, err, "same point of the photo")
	_, err = mapBy(mark{Point{5, 5}, Point{3, 3}}, mark{Point{50, 6}, Point{3, 3}})
	require.ErrorContains(t, err, "same place on the panel")
}

// What the file says wrongly is told with its place.
func TestParseBackdrop(t *testing.T) {
	one := "[[mark]]\npixel = [1.0, 2.0]\nat = [\"0 mm\", \"0 mm\"]\n"
	two := "[[mark]]\npixel = [100, 2.0]\nat = [\"560 mm\", \"0 mm\"]\n"
	for text, words := range map[string]string{
		"":                                "",
		"photo = \"a.jpg\"\n" + one + two: "",
		"photo = ":                        "line 1",
		"photo = 3":                       "line 1",
		"foto = \"a\"":                    "unknown key \"foto\"",
		one:                               "1 marks",
		one + one:                         "same point",
		one + "[[mark]]\npixel = [9.0]\nat = [\"0 mm\", \"0 mm\"]\n":    "mark 2: write pixel",
		one + "[[mark]]\npixel = [9.0, 9]\nat = [\"0\", \"8\"]\n":       "mark 2",
		one + "[[mark]]\npixel = [9e9, 9]\nat = [\"0 mm\", \"8 mm\"]\n": "on no photo",
		one + "[[mark]]\npixel = [nan, 9]\nat = [\"0 mm\", \"8 mm\"]\n": "on no photo",
	} {
		_, err := parseBackdrop([]byte(text))
		if words == "" {
			require.NoError(t, err, text)
			continue
		}
		require.ErrorContains(t, err, words, text)
	}
}

// Whatever is read is written so that it is read alike.
func FuzzParseBackdrop(f *testing.F) {
	f.Add([]byte("photo = \"a.jpg\"\n[[mark]]\npixel = [1.0, 2.0]\nat = [\"0 mm\", \"0 mm\"]\n[[mark]]\npixel = [100, 2.0]\nat = [\"560 mm\", \"0 mm\"]\n"))
	f.Add([]byte("[[mark]]\npixel = [nan]"))
	f.Add([]byte("photo = \"\\u0001\""))
	f.Fuzz(func(t *testing.T, b []byte) {
		x, err := parseBackdrop(b)
		if err != nil {
			return
		}
		y, err := parseBackdrop(x.text())
		if err != nil {
			// Rounded to a tenth of a pixel, two marks may fall together.
			require.ErrorContains(t, err, "both marks", "%s", x.text())
			return
		}
		require.Equal(t, x.Photo, y.Photo)
		require.Len(t, y.Marks, len(x.Marks))
	})
}

// Bytes of a camera are hostile until they are read.
func FuzzTurn(f *testing.F) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, corners(), nil); err != nil {
		f.Fatal(err)
	}
	f.Add(withTurn(b.Bytes(), 6, binary.BigEndian))
	f.Add(withTurn(b.Bytes(), 6, binary.LittleEndian))
	f.Add([]byte{0xff, 0xd8, 0xff, 0xe1, 0, 2})
	f.Fuzz(func(t *testing.T, b []byte) { turnOf(b) })
}
