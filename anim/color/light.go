package color

// Light is a pixel's design light: linear sRGB, D65, 1 is the show's white; it
// may leave 0..1 and is never NaN or infinite. It is proportional to light, so
// sums and averages of Light mean something.
type Light [3]float32
