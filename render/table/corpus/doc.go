// Package corpus makes the clips on which frame tables are measured: invented,
// always the same, a fair sample of what front panels show. Nothing that ships
// imports it.
//
// It was written before the coder that is measured on it. There are thirteen
// kinds of clip, two of each, on several layouts, as frames of final codes (a cap
// of 35 %, white scaled per colour, rounded to nearest), as the duties before
// rounding, and with the rounding error carried from frame to frame. Every clip
// exists at any frame rate. Second is another set, with other seeds, parameters
// and layouts, for one measurement at the end.
package corpus
