package view

import (
	"time"
	"unicode"

	"github.com/hajimehoshi/ebiten/v2"
	"github.com/hajimehoshi/ebiten/v2/inpututil"

	"paneglow/preview/model"
)

// A key that is held comes again after 24 ticks, then every 3: 0.4 s and 20 a
// second, as desktops have it (common practice).
const (
	holdTicks   = 24
	repeatTicks = 3
)

// hands gathers what the person did. Its zero value is ready.
type hands struct {
	begun time.Time
	keys  []ebiten.Key
	named []model.Key
	typed []rune
}

// since is what happened since the last tick, in a window of w by h logical pixels.
// Its slices are good until the next call.
func (h *hands) since(w, height, scale float64) model.Input {
	if h.begun.IsZero() {
		h.begun = time.Now()
	}
	x, y := ebiten.CursorPosition()
	_, wheel := ebiten.Wheel()
	in := model.Input{
		W: w, H: height,
		Seconds:    time.Since(h.begun).Seconds(),
		X:          (float64(x) + 0.5) / scale,
		Y:          (float64(y) + 0.5) / scale,
		Down:       ebiten.IsMouseButtonPressed(ebiten.MouseButtonLeft),
		Pressed:    inpututil.IsMouseButtonJustPressed(ebiten.MouseButtonLeft),
		Released:   inpututil.IsMouseButtonJustReleased(ebiten.MouseButtonLeft),
		RightPress: inpututil.IsMouseButtonJustPressed(ebiten.MouseButtonRight),
		Wheel:      wheel,
		Shift:      ebiten.IsKeyPressed(ebiten.KeyShift),
		Ctrl:       ebiten.IsKeyPressed(ebiten.KeyControl) || ebiten.IsKeyPressed(ebiten.KeyMeta),
		Close:      ebiten.IsWindowBeingClosed(),
	}
	h.keys = inpututil.AppendPressedKeys(h.keys[:0])
	h.named = h.named[:0]
	for _, k := range h.keys {
		if n := inpututil.KeyPressDuration(k); n == 1 || n > holdTicks && (n-holdTicks)%repeatTicks == 0 {
			if name, ok := keyName(k); ok {
				h.named = append(h.named, name)
			}
		}
	}
	h.typed = ebiten.AppendInputChars(h.typed[:0])
	keep := h.typed[:0]
	for _, r := range h.typed {
		// With ctrl held a letter is a command, not a text.
		if !in.Ctrl && unicode.IsPrint(r) {
			keep = append(keep, r)
		}
	}
	in.Keys, in.Typed = h.named, keep
	return in
}

// keyName is a key by what stands on it. ebiten tells places on the keyboard;
// what stands there follows from the layout where the system tells it, and from
// the US layout where it does not.
func keyName(k ebiten.Key) (model.Key, bool) {
	fixed, ok := keys[k]
	if ok {
		return fixed, true
	}
	us, ok := printed[k]
	if !ok {
		return "", false
	}
	name := ebiten.KeyName(k)
	if len(name) == 1 {
		switch c := name[0]; {
		case c >= 'a' && c <= 'z':
			return model.Key(name), true
		case c >= 'A' && c <= 'Z':
			return model.Key(string(c - 'A' + 'a')), true
		case c >= '0' && c <= '9':
			return model.Key(name), true
		}
		// A digit stays one on layouts that print it above a sign.
		if sign, ok := signs[name[0]]; ok && !isDigit(us) {
			return sign, true
		}
	}
	return us, us != ""
}

func isDigit(k model.Key) bool { return len(k) == 1 && k[0] >= '0' && k[0] <= '9' }

// signs are the keys with a sign that the model knows; a plus stands on the key
// of the equals sign where it has none of its own.
var signs = map[byte]model.Key{'+': "plus", '=': "plus", '-': "minus", ',': "comma", '.': "period", '/': "slash"}

// keys are the same on every layout.
var keys = map[ebiten.Key]model.Key{
	ebiten.KeySpace: "space", ebiten.KeyEnter: "enter", ebiten.KeyNumpadEnter: "enter", ebiten.KeyEscape: "escape",
	ebiten.KeyTab: "tab", ebiten.KeyBackspace: "backspace", ebiten.KeyDelete: "delete",
	ebiten.KeyArrowLeft: "left", ebiten.KeyArrowRight: "right", ebiten.KeyArrowUp: "up", ebiten.KeyArrowDown: "down",
	ebiten.KeyHome: "home", ebiten.KeyEnd: "end", ebiten.KeyPageUp: "pageup", ebiten.KeyPageDown: "pagedown",
	ebiten.KeyF1: "f1", ebiten.KeyF2: "f2", ebiten.KeyF3: "f3", ebiten.KeyF4: "f4", ebiten.KeyF5: "f5", ebiten.KeyF6: "f6",
	ebiten.KeyF7: "f7", ebiten.KeyF8: "f8", ebiten.KeyF9: "f9", ebiten.KeyF10: "f10", ebiten.KeyF11: "f11", ebiten.KeyF12: "f12",
	ebiten.KeyNumpad0: "0", ebiten.KeyNumpad1: "1", ebiten.KeyNumpad2: "2", ebiten.KeyNumpad3: "3", ebiten.KeyNumpad4: "4",
	ebiten.KeyNumpad5: "5", ebiten.KeyNumpad6: "6", ebiten.KeyNumpad7: "7", ebiten.KeyNumpad8: "8", ebiten.KeyNumpad9: "9",
	ebiten.KeyNumpadAdd: "plus", ebiten.KeyNumpadSubtract: "minus", ebiten.KeyNumpadDecimal: "period", ebiten.KeyNumpadDivide: "slash",
}

// printed are the keys that differ from layout to layout, with what the US layout
// prints; "" where that is nothing the model knows.
var printed = map[ebiten.Key]model.Key{
	ebiten.KeyEqual: "plus", ebiten.KeyMinus: "minus", ebiten.KeyComma: "comma", ebiten.KeyPeriod: "period", ebiten.KeySlash: "slash",
	ebiten.KeySemicolon: "", ebiten.KeyQuote: "", ebiten.KeyBracketLeft: "", ebiten.KeyBracketRight: "", ebiten.KeyBackslash: "", ebiten.KeyBackquote: "", ebiten.KeyIntlBackslash: "",
}

func init() {
	for i := range ebiten.Key(26) {
		printed[ebiten.KeyA+i] = model.Key(rune('a' + i))
	}
	for i := range ebiten.Key(10) {
		printed[ebiten.KeyDigit0+i] = model.Key(rune('0' + i))
	}
}
