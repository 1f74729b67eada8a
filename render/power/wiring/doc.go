// Package wiring works out what the copper between the supply and the pixels does:
// the voltage of every pixel in every frame, what each feed carries, how far the
// grounds of neighbouring strips differ, what is lost as heat, and which feeds,
// wires and fuses a panel wants.
//
// Place in the pipeline: behind the player. In: a laid out machine with its feeds,
// joints, wires, connections and rails, and the codes that render/play latched.
// Out: volts, amperes, watts and ohms as float64, for people: nothing here reaches
// a code or a frame table.
//
// The model. A pixel draws a constant current, by its codes, its part's law and the
// upper end of its spread, idle included, as package power counts it; below its
// part's least volts it draws in proportion to what volts are left. Supplies hold
// their volts behind an output resistance, and have their minus terminals in one
// point. Wires are the largest resistance that IEC 60228 allows, or solid copper by
// ASTM B258; everything of copper is taken at the machine's temperature, by 0.00393
// per kelvin from 20 degC.
//
// How it is solved. Each strip is cut at its knots, where a feed or a joint is
// soldered on. Between two knots the pixels are replaced by two currents, which
// running integer sums give, so only the knots' potentials are left, in one small
// sparse matrix that is factored once. With them the sums give every voltage, and
// the lowest pixel of a span without looking at the others. The two rails of a
// span are its loop voltage, which the pixels drop, and a mean that goes straight
// from knot to knot; so grounds come out as well as volts. Frames in which pixels
// starve are solved in rounds, span by span as a ladder of conductances.
//
// Not modelled: inductance, the ripple within a modulation period (currents are
// means over it), fuses and holders beyond a connection's ohms, the set-point
// tolerance of supplies (about 1 %), and what a pixel's colour does as it starves.
// Fuses, wires and cautions defer to local codes and licensed practice.
package wiring
