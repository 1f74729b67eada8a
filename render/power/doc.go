// Package power keeps a panel's light inside a supply that fans, motors and
// locks share.
//
// Place in the pipeline: between drive (LED duties, before rounding) and
// table. In: frames of codes, part currents, the loads of the machine. Out:
// currents and budgets in whole microamperes at the supply, and the one gain
// (k/65536) that keeps a frame inside its budget.
//
// Every figure is an integer count over final codes, never an estimate:
//
//	numerator of a pixel   sum      r*R + g*G + b*B [+ w*W]
//	                       largest  the biggest of those products
//	                       ceiling  their sum, at most 255*ceiling*LEDs per pixel
//	current of a part      (sum of its pixels' numerators) / 255, rounded up
//	current of a frame     sum of the parts + idle of every addressed pixel
//
// where r g b w are codes 0..255 and R G B W a part's currents in microamperes
// per pixel at full duty. The division happens once per part and frame.
// Currents with a spread count at its upper end, each rounded up to a whole
// microampere, unless the part was fitted with an ammeter.
//
// A missing pixel is bridged: it has no address, draws nothing, and its codes
// are not counted. A hidden pixel has an address: it draws its idle current,
// and its codes, should they ever not be 0, are counted.
//
// Not modelled: ripple, copper losses (the count is at constant current, as
// 12 V parts draw it above their drop-out voltage), and faults. Fuses, wires
// and cautions defer to local codes and licensed practice.
package power
