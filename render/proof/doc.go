// Package proof writes down, for everything that a player can come to show with
// a table, the most that it draws and the budget that holds there: a
// certificate that a second program can count again (tools/recount.py).
//
// Place in the pipeline: after table; nothing follows. In: a verified table.
// Out: a Certificate, as JSON; docs/proof.md has its fields and the arithmetic.
//
// Enumerated are every state; every way in which something comes to be shown in
// it (black at the start, its own clip, another clip that plays to its end, a
// mix of anything with anything while a crossfade runs); every set of loads that
// run and start, and the case that none of them is known; every level of the
// timetable, and any other level as one case; every frame; every supply.
//
// A row is exact where the player shows stored frames under a known level: its
// figure is what the player's own arithmetic makes of the worst frame; a slew
// that holds light back only ever lowers it. It is a bound where frames are mixed
// and where the level may be any:
//
//   - a lower level has lower codes, and no law gives lower codes a higher
//     current, so that any level draws at most what the full one does;
//   - a mix of codes, each rounded down, draws at most what the greatest of its
//     frames does by power.Meter.Numerator, which scales, and what each part's
//     rounding up adds;
//   - whatever is shown, the player counts it again and scales it below the
//     budget before it latches.
//
// Not in it: faults. Fuses are for those.
package proof
