package wiring

import (
	"math"

	"paneglow/anim/unit"
)

const (
	// resistivity of annealed copper at 20 degC in ohm mm2 / m, and its
	// temperature coefficient there, 1/K: IEC 60028.
	resistivity = 1.0 / 58
	coefficient = 0.00393
)

// Warmth is the factor on a copper resistance stated at 20 degC: 1 + 0.00393 per
// kelvin above.
func Warmth(t unit.Celsius) float64 { return 1 + coefficient*(float64(t)-20) }

// The most resistance that IEC 60228 allows a conductor at 20 degC, in ohm/km by
// square millimetre: tables 1 and 2 (one limit for both classes) and 3; below
// 0.5 mm2 VDE 0295. 6, 10 and 16 mm2 are from memory; the others stand in
// testdata/copper/iec60228.csv with their source.
//
// The limit of flexible 1 mm2 lies 13 % above the resistance of so much copper.
var (
	rigid = map[unit.Area]float64{0.5: 36.0, 0.75: 24.5, 1: 18.1, 1.5: 12.1, 2.5: 7.41, 4: 4.61, 6: 3.08, 10: 1.83, 16: 1.15}
	plain = map[unit.Area]float64{0.22: 96, 0.25: 76, 0.34: 53,
		0.5: 39.0, 0.75: 26.0, 1: 19.5, 1.5: 13.3, 2.5: 7.98, 4: 4.95, 6: 3.30, 10: 1.91, 16: 1.21}
	tinned = map[unit.Area]float64{0.5: 40.1, 0.75: 26.7, 1: 20.0, 1.5: 13.7, 2.5: 8.21, 4: 5.09, 6: 3.39, 10: 1.95, 16: 1.24}
)

// Gauge is the diameter of a wire gauge in millimetres: ASTM B258,
// 0.127 mm x 92^((36-n)/39).
func Gauge(n int) float64 { return 0.127 * math.Pow(92, float64(36-n)/39) }

// Section is a wire's copper in square millimetres.
func Section(w unit.Wire) float64 {
	if w.AWG {
		return math.Pi / 4 * Gauge(w.Gauge) * Gauge(w.Gauge)
	}
	return float64(w.Area)
}

// PerMetre is the resistance of one conductor in ohm per metre at 20 degC: the
// limit of IEC 60228 for a cross-section; for a gauge that of solid copper
// (stranded wire of the same gauge has some 2 to 4 % more, common practice). 0
// for a wire that unit.ParseWire does not make.
func PerMetre(w unit.Wire) float64 {
	switch {
	case w.AWG:
		return resistivity / Section(w)
	case w.Tinned:
		return tinned[w.Area] / 1000
	case w.Class == 1 || w.Class == 2:
		return rigid[w.Area] / 1000
	}
	return plain[w.Area] / 1000
}

// Ohms is the resistance of one conductor of a length at a temperature.
func Ohms(w unit.Wire, length unit.Length, t unit.Celsius) float64 {
	return PerMetre(w) * float64(length) / 1000 * Warmth(t)
}

// density is what short wires in air carry in amperes per square millimetre:
// 4 to 6, common practice. Installation rules such as IEC 60204-1 may allow more
// or less, by how the wire is laid.
const density = 6

// Carries is what a wire carries for good, by density.
func Carries(w unit.Wire) unit.Current { return unit.Current(density * Section(w) * 1e6) }

// Next is the next thicker wire of the same kind, in steps of IEC 60228 or of two
// gauges, which are the ones sold (common practice); ok is false at the thickest
// known.
func Next(w unit.Wire) (thicker unit.Wire, ok bool) {
	if w.AWG {
		w.Gauge -= 2 - w.Gauge%2
		return w, w.Gauge >= unit.ThickestGauge
	}
	for _, a := range unit.WireAreas {
		if a > w.Area {
			w.Area = a
			return w, true
		}
	}
	return w, false
}

// railCarries works out what a strip's rail carries for good from its resistance
// in ohm per metre at 20 degC: as a track of a circuit board by the chart of
// IPC-2221 for inner layers, 20 K warmer, I = 0.024 T^0.44 A^0.725 with A in
// square mils (from memory). Inner, because a strip's track lies under solder
// resist, LEDs and often a coating.
func railCarries(perMetre float64) float64 {
	squareMils := resistivity / perMetre / (0.0254 * 0.0254)
	return 0.024 * math.Pow(20, 0.44) * math.Pow(squareMils, 0.725)
}
