package ammeter

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"paneglow/anim/unit"
)

// Dies is a set of dies that shine: bit 0 red, 1 green, 2 blue, 3 white.
type Dies uint8

// The dies of a pixel.
const (
	Red Dies = 1 << iota
	Green
	Blue
	White

	Dark     Dies = 0
	Coloured      = Red | Green | Blue
)

// HalfCode is what "half" sends: code 128 of 255.
const HalfCode = 128

// Reading is what an ammeter in the supply's lead showed while all pixels of a
// strip showed one code on some of their dies and 0 on the others.
type Reading struct {
	Dies  Dies
	Code  int          // 1..255 on each of Dies; 0 when dark
	Amps  unit.Current // of the whole strip
	Step  unit.Current // one unit of the last digit that was read; 0: not known
	Volts unit.Voltage // at the strip meanwhile; 0: not read
	Text  string       // as it was typed
	unit  unit.Current // in which it was typed: 1 A, 1 mA
}

// Name says what shone: "dark", "red", "half white", "rgb at 64".
func (r Reading) Name(dies int) string {
	name := "dark"
	switch {
	case r.Dies == Dark:
		return name
	case r.Dies == Coloured && dies == 3:
		name = "white"
	case r.Dies == Coloured:
		name = "rgb"
	case r.Dies == Coloured|White:
		name = "all"
	default:
		var words []string
		for i, w := range dieNames {
			if r.Dies>>i&1 != 0 {
				words = append(words, w)
			}
		}
		name = strings.Join(words, "+")
	}
	switch r.Code {
	case 255:
		return name
	case HalfCode:
		return "half " + name
	}
	return fmt.Sprintf("%s at %d", name, r.Code)
}

var dieNames = [4]string{"red", "green", "blue", "white"}

// form is DIES [at CODE] AMPS [VOLTS], with "half" before the dies as another
// way to say "at 128". Commas and a colon may stand between.
var form = regexp.MustCompile(`^(half )?([a-z+]+)(?: at ([0-9]+))? ([-+]?[0-9][^ ]*(?: ?[a-zµμA-Z]+)?)(?: ([-+]?[0-9][^ ]*(?: ?[a-zA-Z]+)?))?$`)

var spaces = regexp.MustCompile(`[\s:]+|,\s+`)

const fix = `write what shone, then amperes, then volts if you read them: "dark 0.12 A", "red 1.21 A 11.9 V", "half white 1.83 A", "blue at 64 310 mA"`

// Parse reads one reading as it is typed: "half white 3.27 A 4.9 V". dies is 3
// or 4: with three dies, white means all of them; with four, the white die
// alone, "rgb" the other three and "all" all four. The error says what to
// write.
func Parse(text string, dies int) (Reading, error) {
	r := Reading{Text: text}
	plain := strings.ToLower(strings.TrimSpace(spaces.ReplaceAllString(text, " ")))
	m := form.FindStringSubmatch(plain)
	if m == nil {
		return r, fmt.Errorf("%q is not a reading: %s", text, fix)
	}
	for word := range strings.SplitSeq(m[2], "+") {
		d, ok := dieSet(word, dies)
		if !ok {
			return r, fmt.Errorf("%q: %q is none of %s: %s", text, word, words(dies), fix)
		}
		r.Dies |= d
	}
	switch {
	case r.Dies == Dark && (m[1] != "" || m[3] != "" || m[2] != "dark"):
		return r, fmt.Errorf("%q: dark has no code and no other dies beside it", text)
	case m[1] != "" && m[3] != "":
		return r, fmt.Errorf("%q: half is code %d, and a code is given too: keep one", text, HalfCode)
	case m[1] != "":
		r.Code = HalfCode
	case m[3] != "":
		c, err := strconv.Atoi(m[3])
		if err != nil || c < 1 || c > 255 {
			return r, fmt.Errorf("%q: code %s is outside 1 to 255", text, m[3])
		}
		r.Code = c
	case r.Dies != Dark:
		r.Code = 255
	}
	if strings.HasPrefix(m[4], "-") && strings.Trim(m[4], "-0. amuµμ") != "" {
		return r, fmt.Errorf("%q: the current has the wrong sign: exchange the meter's leads, or leave the minus out", text)
	}
	// The units' own letters again: amperes were lowered above.
	amps, err := unit.ParseCurrent(unitCase(m[4]))
	if err != nil {
		return r, fmt.Errorf("%q: %w", text, err)
	}
	r.Amps = amps
	r.Step, r.unit = step(m[4])
	if m[5] != "" {
		if r.Volts, err = unit.ParseVoltage(unitCase(m[5])); err != nil {
			return r, fmt.Errorf("%q: %w", text, err)
		}
		if r.Volts == 0 {
			return r, fmt.Errorf("%q: nothing shines at 0 V: leave the volts out, or read them at the strip", text)
		}
	}
	return r, nil
}

func dieSet(word string, dies int) (Dies, bool) {
	switch word {
	case "dark":
		return Dark, true
	case "red":
		return Red, true
	case "green":
		return Green, true
	case "blue":
		return Blue, true
	case "rgb":
		return Coloured, true
	case "white":
		if dies == 4 {
			return White, true
		}
		return Coloured, true
	case "all":
		return Coloured | Dies(dies&4)<<1, true
	}
	return 0, false
}

func words(dies int) string {
	if dies == 4 {
		return "dark, red, green, blue, white (the white die), rgb, all"
	}
	return "dark, red, green, blue, white"
}

// unitCase gives a lowered "3.2 ma" or "12 v" its unit's letters back.
func unitCase(s string) string {
	if n := len(s); n > 0 && (s[n-1] == 'a' || s[n-1] == 'v') {
		return s[:n-1] + strings.ToUpper(s[n-1:])
	}
	return s
}

// step is one unit of the last digit of a current that parses, and the unit it
// was typed in.
func step(text string) (last, whole unit.Current) {
	number := strings.TrimRight(text, " abcdefghijklmnopqrstuvwxyzµμ")
	one := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return '0'
		}
		return r
	}, number)
	name := unitCase(text[len(number):])
	last, _ = unit.ParseCurrent(one[:len(one)-1] + "1" + name)
	whole, _ = unit.ParseCurrent("1" + name)
	return last, whole
}

// settle gives all readings that were typed in one unit the finest last digit
// among them: people leave zeros out, "0 A" between "4.04 A" and "2.31 A" is
// no reading to the ampere.
func settle(readings []Reading) []Reading {
	out := append([]Reading(nil), readings...)
	for i := range out {
		for _, r := range readings {
			if r.unit == out[i].unit && r.Step > 0 {
				out[i].Step = min(out[i].Step, r.Step)
			}
		}
	}
	return out
}
