package model

import (
	"fmt"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
)

// Face is a new font face of a size in pixels: the Go fonts, without hinting, so
// that a text keeps its proportions at every scale of the screen. A face is not
// safe for several goroutines; the caller closes it.
func Face(size float64, bold bool) (font.Face, error) {
	fonts, err := parsedFonts()
	if err != nil {
		return nil, err
	}
	f := fonts[0]
	if bold {
		f = fonts[1]
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		return nil, fmt.Errorf("a font of %g pixels: %w", size, err)
	}
	return face, nil
}

var parsedFonts = sync.OnceValues(func() (fonts [2]*opentype.Font, err error) {
	for i, b := range [][]byte{goregular.TTF, gobold.TTF} {
		if fonts[i], err = opentype.Parse(b); err != nil {
			return fonts, fmt.Errorf("the embedded font is damaged: %w", err)
		}
	}
	return fonts, nil
})

// A ruler measures texts of one size and weight. It keeps what it measured:
// frames say mostly what the frame before them said.
type ruler struct {
	face  font.Face
	known map[string]float64
}

type rulerKey struct {
	size float64
	bold bool
}

var rulers = struct {
	sync.Mutex
	of map[rulerKey]*ruler
}{of: map[rulerKey]*ruler{}}

// Most texts that one ruler keeps, and most rulers: numbers that run would
// otherwise fill the memory.
const (
	keptTexts  = 4096
	keptRulers = 64
)

// Measure is the width of a line of text in logical pixels, as the view draws it
// at a scale of 1, kerning included; at other scales glyphs are rounded to 1/64
// of a finer pixel, so that widths differ by less than 1/64 pixel a glyph. A size
// that no font can have (0 or less) measures 0.
func Measure(s string, size float64, bold bool) float64 {
	if !(size > 0) || s == "" {
		return 0
	}
	rulers.Lock()
	defer rulers.Unlock()
	key := rulerKey{size, bold}
	r := rulers.of[key]
	if r == nil {
		face, err := Face(size, bold)
		if err != nil {
			panic(err) // the fonts are part of the program, and a test opens them
		}
		if len(rulers.of) >= keptRulers {
			clear(rulers.of)
		}
		r = &ruler{face: face, known: map[string]float64{}}
		rulers.of[key] = r
	}
	w, ok := r.known[s]
	if !ok {
		if len(r.known) >= keptTexts {
			clear(r.known)
		}
		w = float64(font.MeasureString(r.face, s)) / 64
		r.known[s] = w
	}
	return w
}
