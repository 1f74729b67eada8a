// Package seen paints what is seen: it finds the duties whose light, through the
// glass, comes closest to a picture.
//
// In: a target in linear sRGB over the panel, 1 for white; the glass, the dies,
// the budget of the clip. Out: one duty a die, 0..1, and how far the light on the
// glass is from the target. Closest is by least squares in linear light over the
// whole panel, so a strip darkens a little where its light would fall on dark
// parts of the picture.
//
// Canvas holds what every pixel does to a grid of points. Its influences are
// whole multiples of 1/16384 of the greatest one: products and sums of them are
// exact, and the last digits in which processors' exponentials differ do not
// reach the codes.
//
// White of the target is the luminance that the panel shows over its pixels when
// all of them show the show's white at full duty. What the strips cannot reach is
// told as Miss.
package seen
