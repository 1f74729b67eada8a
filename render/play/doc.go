// Package play is what the machine latches: the Go twin of the controller's C
// player, bit for bit, fed with the table that would be uploaded.
//
// Place in the pipeline: after table. In: a verified table and events with the
// tick at which they come (Tell): states and values that the machine wishes to
// show, loads that ask to start, run or stopped, levels, signs of life of the
// host, the time of day. Out: refreshes (Next), each with its codes in data
// order, its current in microamperes by a recount of those very codes, and the
// loads that may start now. Pictures, windows, checks and currents read
// nothing else.
//
// What is told comes into force with the next refresh, all of it together: of two
// states wished in between the last one counts. A crossfade comes from what would
// have been shown by that refresh, so that a player that unpacks one frame ahead
// has it. A clip that begins by lot draws one of its start points.
//
// A controller shows a clip only once it has verified its bytes, and a built-in
// still until then (Options.Unverified, Verified, Lost). Somebody inside the
// machine has a state of their own (Service): pictures that need neither table nor
// computer, under the smallest budget of the show, and no load is granted. A pixel
// that died is taken out of the data (Dead); all others keep their place.
//
// Everything is integer arithmetic that an 8-bit processor repeats exactly. A
// tick is a 32-bit microsecond that wraps after 71.6 minutes; ticks compare by
// difference, so nothing that is waited for may take longer than 30 minutes.
//
// Loads are facts, states are wishes. The budget in force is the smallest of
//
//   - the budget of the state, as the table holds it;
//   - what the loads that run, or have asked to start, leave of the supply;
//   - the smallest budget of the show, as long as one load's condition is
//     unknown: from the start, and again after every move that the player makes
//     by itself (longest stay, silent host), until each load is told.
//
// It falls at once, before the next refresh, and rises by the table's Raise.
// With several supplies each has a budget of its own, beside the loads that
// hang on it, and the gain of the whole panel is that of the fullest.
//
// Where the table holds a slew, the current from that supply rises by no more
// than that from one refresh to the next, whatever is shown: a cut to a bright
// clip climbs there in some refreshes, each supply's strips by themselves. It may fall at once: a load that starts
// or a state that ends does not wait.
//
// The player recounts every refresh from its codes; one that would draw more
// than the budget in force is scaled down with floor rounding by
// power.ScaleBound. When the dark panel alone draws more, it stays dark and
// Latched.Over says so.
//
// Assumed, not proven here: all data lines latch together, and the strips show
// what they latched.
package play
