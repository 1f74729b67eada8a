// Package picture draws what the machine latches: the glass as a passer-by
// sees it, the bare LEDs, and a clip's timeline with its current.
//
// In: codes and currents as render/play latched them, the layout, the glass.
// Out: images, and PNG, animated PNG or GIF files. Every picture of the glass
// says "simulated" with the room, the exposure and the glass it was made for.
//
// Exposure is set once a clip, so that bright and dark frames keep their
// relation: full screen white is the 99.5th percentile of the brightest
// channel over the clip's brightest frame. Light over it is drawn towards
// white at its own luminance; light outside sRGB is clipped. Encoding is sRGB
// (IEC 61966-2-1) with a half-step ordered dither, so that dark slopes do not
// band.
package picture
