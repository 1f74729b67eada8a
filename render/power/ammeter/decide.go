package ammeter

import (
	"fmt"
	"math"
	"math/bits"
	"strings"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/anim/unit"
)

// None says that no law could be chosen.
const None = -1

// sagShare is how far the strip's voltage may sink between readings before
// they count as taken on a starved rail: lighting practice allows 3 to 5 %.
const sagShare = 0.05

// Decide chooses the law that the readings show, or None, and tells what makes
// the choice unsure. The simplest law that fits wins: ceiling holds sum as its
// special case and would always fit at least as well.
func Decide(s Strip, readings []Reading, laws [3]Law, least unit.Voltage) (best int, found finding.List) {
	readings = settle(readings)
	tell := func(sev finding.Severity, code, fix, message string, args ...any) {
		found = append(found, finding.Finding{Code: code, Severity: sev, Message: fmt.Sprintf(message, args...), Fix: fix})
	}
	tellVolts(readings, least, tell)
	starved := tellStarved(s, readings, laws, tell)
	tellUnread(s, readings, tell)
	sum, largest, ceiling := &laws[show.Sum], &laws[show.Largest], &laws[show.Ceiling]
	half := `send code 128 to red, green and blue and read: "half white 1.83 A"`
	if s.Dies == 4 {
		half = strings.Replace(half, "white", "rgb", 1)
	}
	switch {
	case sum.Fits() && sum.Checks > 0:
		return int(show.Sum), found
	case largest.Fits() && ceiling.Fits() && !twoCodes(readings):
		tell(finding.Warning, "power.law_undecided", half,
			"the laws largest and ceiling explain these readings alike: a reading of half white tells them apart")
		return None, found
	case largest.Fits() && largest.Checks > 0:
		return int(show.Largest), found
	case ceiling.Fits() && !starved && touching(ceiling):
		tell(finding.Warning, "power.law_undecided", `read one color at a low code, where nothing is held: "red at 32 0.2 A"`,
			"a ceiling holds even a single color, and hides what its die draws")
		return None, found
	case ceiling.Fits() && ceiling.Checks > 0 && !starved:
		return int(show.Ceiling), found
	case ceiling.Fits() && !starved:
		tell(finding.Warning, "power.law_undecided", half,
			"the law ceiling takes all these readings to be described, so none of them checks it; a starved rail would look the same")
		return None, found
	case !starved:
		tell(finding.Warning, "power.law_none", "read again with a second meter range and the strip fed at both ends; mind that every pixel shows the code",
			"no law explains the readings: the nearest is off by %.0f times what a meter may be", min(sum.Worst, largest.Worst, ceiling.Worst))
	}
	return None, found
}

type teller func(sev finding.Severity, code, fix, message string, args ...any)

// twoCodes tells whether several dies were read together at more than one code.
func twoCodes(readings []Reading) bool {
	code := 0
	for _, r := range readings {
		if bits.OnesCount8(uint8(r.Dies)) > 1 {
			if code != 0 && r.Code != code {
				return true
			}
			code = r.Code
		}
	}
	return false
}

// touching tells whether a die alone comes so near the ceiling that its reading
// may be the ceiling's: what the die would draw without it is not known then.
func touching(l *Law) bool {
	for d, ua := range l.Channel {
		if ua > 0 && math.Abs(ua-l.Ceiling) <= Tolerance*(l.Open[1+d]+l.Open[5]) {
			return true
		}
	}
	return false
}

// tellStarved looks for the sign of a starved rail: half white above half of
// full, where no ceiling explains it. It tells and returns whether it is there.
func tellStarved(s Strip, readings []Reading, laws [3]Law, tell teller) bool {
	dark := 0.0
	for _, r := range readings {
		if r.Dies == Dark {
			dark = float64(r.Amps)
		}
	}
	for i := range readings {
		for j := range readings {
			low, full := &readings[i], &readings[j]
			if low.Dies == Dark || low.Dies != full.Dies || low.Code >= full.Code {
				continue
			}
			light := float64(full.Amps) - dark
			share := (float64(low.Amps) - dark) / light
			want := float64(low.Code) / float64(full.Code)
			if off := (share - want) * light; off <= Tolerance*(sigma(low)+want*sigma(full)) {
				continue
			}
			if c := &laws[show.Ceiling]; c.Fits() && c.Checks > 0 {
				continue // held, not starved: the readings add up below the ceiling
			}
			tell(finding.Warning, "power.starved_rail",
				"feed the strip at both ends or a short piece of it, or read at low codes only (\"red at 64 0.4 A\"): currents read on a starved rail are too small, and scaling down from them is wrong",
				"%s draws %.0f %% of %s, not %.0f %%: the voltage along the strip sinks while it shines", low.Name(s.Dies), 100*share, full.Name(s.Dies), 100*want)
			return true
		}
	}
	return false
}

// tellVolts looks at the voltages that were read beside the currents.
func tellVolts(readings []Reading, least unit.Voltage, tell teller) {
	most := unit.Voltage(0)
	for _, r := range readings {
		most = max(most, r.Volts)
	}
	for _, r := range readings {
		switch {
		case r.Volts == 0:
		case least > 0 && r.Volts < least:
			tell(finding.Warning, "power.starved_rail", "thicker or shorter wires, or fewer pixels while measuring",
				"reading %q was taken below the part's least %s: its dies were no longer driven as told", r.Text, least)
			return
		case float64(most-r.Volts) > sagShare*float64(most):
			tell(finding.Warning, "power.starved_rail", "thicker or shorter wires, or fewer pixels while measuring",
				"the strip's voltage sank from %s to %s at reading %q: more than %.0f %%, so the far pixels had less", most, r.Volts, r.Text, 100*sagShare)
			return
		}
	}
}

// tellUnread names coloured dies without a reading of their own.
func tellUnread(s Strip, readings []Reading, tell teller) {
	var miss []string
	for d := range 3 {
		alone := false
		for _, r := range readings {
			alone = alone || r.Dies == 1<<d
		}
		if !alone {
			miss = append(miss, dieNames[d])
		}
	}
	if len(miss) > 0 {
		tell(finding.Note, "power.readings", "read each color alone, if they may differ",
			"%s not read alone: taken to draw as much as the colors that were", strings.Join(miss, " and "))
	}
}

// Currents is a law in whole microamperes, as a machine file holds them: per
// pixel, the ceiling per LED.
type Currents struct {
	Law     show.Law
	Idle    unit.Current
	Channel [4]unit.Current
	Ceiling unit.Current
	Raised  float64 // share by which the light's currents were raised to cover every reading
}

// Round gives a law's currents in steps of 10 microamperes, upwards, raised so
// far that the count of no reading is below what the meter showed: what is
// counted with may be a little much, never too little.
func Round(s Strip, readings []Reading, l *Law) Currents {
	up := func(ua float64) unit.Current { return unit.Current(math.Ceil(ua/10-1e-9) * 10) }
	leds := float64(max(s.LEDsPerPixel, 1))
	pixels := float64(s.Pixels)
	idle := l.Idle
	for _, r := range readings {
		if r.Dies == Dark {
			idle = max(idle, float64(r.Amps)/pixels)
		}
	}
	k := 1.0
	for i := range readings {
		r := &readings[i]
		if light := l.says(r) - l.Idle; r.Dies != Dark && light > 0 {
			k = max(k, (float64(r.Amps)/pixels-idle)/light)
		}
	}
	out := Currents{Law: l.Law, Idle: up(idle), Raised: k - 1}
	for d := range s.Dies {
		out.Channel[d] = up(k * l.Channel[d])
	}
	if l.Law == show.Ceiling {
		out.Ceiling = up(k * l.Ceiling / leds)
	}
	return out
}
