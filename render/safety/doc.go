// Package safety counts flashes: the one property of an animation that can
// hurt a person who merely passes by.
//
// The rule is WCAG 2.2 success criterion 2.3.1 (general flash and red flash
// thresholds): no more than three general flashes and no more than three red
// flashes within any one second. Its area clause (0.006 sr, a quarter of a
// ten-degree field) is not used to excuse anything: at arm's length a panel is
// always larger.
//
// In: frames of final codes and how bright each die is. Out: for the whole
// panel, for each strip, and for the most restless quarter of the pixels, the
// flashes in the worst second and where it begins.
//
//   - general flash: a pair of opposing changes in relative luminance of 0.10
//     or more, the darker side below 0.80; peaks and valleys are compared, not
//     neighbouring frames. Relative luminance 1 is the show's white.
//   - red flash: a pair of opposing transitions to or from a saturated red,
//     R/(R+G+B) >= 0.8 in linear light, that differ by more than 0.2 in the CIE
//     1976 UCS diagram. Black has no chromaticity; black to saturated red and
//     back counts as red by the ratio alone (our cautious choice). Light below
//     0.02 of full counts as black.
//   - flashes in a second are transitions in the window divided by 2, rounded
//     down; the window slides frame by frame, over the seam of a loop and over
//     the joint of two states.
//
// The quarter: a pixel's flashes are counted by themselves, and what at least
// a quarter of all pixels reach in one and the same second is reported, so
// that halves that flash in turn do not average out.
//
// This is a count against a published limit, not a medical statement; sources
// and details stand beside the tests.
package safety
