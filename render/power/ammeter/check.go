package ammeter

import (
	"fmt"
	"math/bits"
	"slices"

	"paneglow/anim/finding"
	"paneglow/anim/unit"
	"paneglow/render/power"
)

// Bounds of what one pixel can plausibly draw, for readings that are off by
// the unit: common practice (a pixel of three LEDs draws some 55 mA at full,
// 1 to 3 mA dark), with a factor of ten to spare.
const (
	mostDark  = 100_000 // microamperes
	mostLit   = 600_000
	leastFull = 100 // of light at full duty
)

// MostReadings is the most readings of one strip that are looked at.
const MostReadings = 12

// Check refuses readings that cannot be of one strip: too few, contradicting
// each other, or off by the unit. A law is only tried on what passes.
func Check(s Strip, readings []Reading) finding.List {
	var bad finding.List
	refuse := func(code, where, fix, message string, args ...any) {
		bad = append(bad, finding.Finding{Code: code, Severity: finding.Error, Where: where, Message: fmt.Sprintf(message, args...), Fix: fix})
	}
	if s.Pixels < 1 {
		refuse("power.readings", "", "count the addresses of the strip that was measured, not its LEDs", "readings of %d pixels", s.Pixels)
		return bad
	}
	if len(readings) > MostReadings {
		refuse("power.readings", "", "keep one of each kind", "%d readings, at most %d are looked at", len(readings), MostReadings)
		return bad
	}
	enough(s, readings, refuse)
	if len(bad) > 0 {
		return bad
	}
	readings = settle(readings)
	dark := unit.Current(0)
	for _, r := range readings {
		if r.Dies == Dark {
			dark = max(dark, r.Amps)
		}
	}
	pixels := int64(s.Pixels)
	for i := range readings {
		r := &readings[i]
		where := fmt.Sprintf("reading %q", r.Text)
		switch per := int64(r.Amps) / pixels; {
		case r.Dies == Dark && per > mostDark, r.Dies != Dark && per > mostLit*int64(max(s.LEDsPerPixel, 1)):
			refuse("power.reading_unit", where, fmt.Sprintf("if the meter showed milliamperes, write %q; else count the pixels again", unit.Current(int64(r.Amps)/1000)),
				"%s are %s for each of %d pixels, which none draws", r.Amps, power.Amps(per), s.Pixels)
		case r.Dies != Dark && r.Amps < dark && dark-r.Amps > 2*unit.Current(sigma(r)):
			refuse("power.readings", where, "read both again: the meter's range, and which one was which", "lit, the strip draws less than dark (%s)", dark)
		case r.Dies != Dark && (int64(r.Amps-dark)*255/int64(r.Code))/pixels < leastFull:
			refuse("power.reading_unit", where, "if the meter showed amperes, write \"A\"; else see that the strip shone at all",
				"its light draws %s for each of %d pixels at full duty, which none draws", power.Amps(max(int64(r.Amps-dark), 0)*255/int64(r.Code)/pixels), s.Pixels)
		}
	}
	for i := range readings {
		for j := range readings {
			a, b := &readings[i], &readings[j]
			if a.Dies != Dark && a.Dies != b.Dies && a.Dies&b.Dies == a.Dies && b.Code >= a.Code &&
				float64(a.Amps-b.Amps) > Tolerance*(sigma(a)+sigma(b)) {
				refuse("power.readings", fmt.Sprintf("reading %q", b.Text), "see whether the two were exchanged, and read them again",
					"%s draws less than %s (%s), which no law allows", b.Name(s.Dies), a.Name(s.Dies), a.Amps)
			}
		}
	}
	return bad
}

// enough tells which readings are still to be taken.
func enough(s Strip, readings []Reading, refuse func(code, where, fix, message string, args ...any)) {
	has := func(ok func(Reading) bool) bool { return slices.ContainsFunc(readings, ok) }
	const code = "power.readings"
	if !has(func(r Reading) bool { return r.Dies == Dark }) {
		refuse(code, "", `send black to every pixel and read: "dark 0.12 A"`, "no reading of the dark strip: what it draws then is no light and no gain lowers it")
	}
	if !has(func(r Reading) bool { return r.Dies == Red || r.Dies == Green || r.Dies == Blue }) {
		refuse(code, "", `light one color alone and read: "red 1.21 A"`, "no reading of a single color: the law shows in how colors add up")
	}
	if !has(func(r Reading) bool { return bits.OnesCount8(uint8(r.Dies)) > 1 }) {
		refuse(code, "", `light red, green and blue together and read: "white 3.3 A", with a white die "rgb 3.3 A"`, "no reading of several colors at once: the law shows in how they add up")
	}
	if s.Dies == 4 && !has(func(r Reading) bool { return r.Dies == White }) {
		refuse(code, "", `light the white die alone and read: "white 1.4 A"`, "no reading of the white die, which draws unlike the others")
	}
}
