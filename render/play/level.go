package play

import (
	"paneglow/render/drive"
	"paneglow/render/table"
)

// Linear turns a lightness in per mille (CIE L* = lightness/10) into a factor
// on linear light, k/65536, rounded to nearest: ((L*+16)/116)^3, and below
// L* = 8 the straight line L* x 27/24389. Integers only, so that a controller
// gets the same. Out of range counts as the nearest end.
//
// Source: CIE 15:2018, Y/Yn as a function of L*.
func Linear(lightness int) uint32 {
	p := uint64(min(max(lightness, 0), 1000))
	if p <= 80 {
		return uint32((p*27*drive.FullGain + 243_890/2) / 243_890)
	}
	q := p + 160
	const whole = 1160 * 1160 * 1160
	return uint32((q*q*q*drive.FullGain + whole/2) / whole)
}

// level is the factor in force: the smaller of the told and the planned one.
func (p *Player) level() uint32 { return min(p.told, p.planned) }

// Planned is the level that a timetable has at a second of a day, 0 Monday: the last
// entry of that day that has begun, or else the last of the nearest day before. Full
// where it has none.
func Planned(levels []table.Level, day, second int) uint32 {
	for back := 0; back <= 7; back++ {
		that, best, planned := (day+14-back)%7, int64(-1), uint32(0)
		for _, lv := range levels {
			if lv.Days>>that&1 != 0 && lv.From > best && (back > 0 || lv.From <= int64(second)) {
				best, planned = lv.From, Linear(int(lv.Lightness))
			}
		}
		if best >= 0 {
			return planned
		}
	}
	return drive.FullGain
}

// plan looks the time of day up in the table's levels.
func (p *Player) plan() {
	before := p.planned
	p.planned = Planned(p.t.Levels, p.day, int(p.second))
	if p.planned != before {
		p.refresh, p.outdated = true, true
	}
}

// mix writes (a*(256-w) + b*w)/256, rounded down, into dst: a crossfade in
// codes, with 8-bit weights. Equal codes stay as they are.
func mix(dst, a, b []uint8, w uint32) {
	for i := range dst {
		dst[i] = uint8((uint32(a[i])*(256-w) + uint32(b[i])*w) >> 8)
	}
}
