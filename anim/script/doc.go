// Package script runs pattern scripts: a few lines of Starlark that say what
// light every pixel of a panel shows at every moment.
//
// Place in the pipeline: the first source of light. In: a script's text, a
// layout.Layout, a clip's length, what a show sets the script's controls to.
// Out: color.Light, one a pixel and frame, linear sRGB, never NaN or infinite.
//
//	p, err := script.Load("eaves.star", text)       // fence, controls
//	g, err := p.Trace(script.Options{...})          // once: a graph
//	prog, err := g.Compile()                        // three lists of operations
//	run := prog.Start()                             // one a goroutine
//	err = run.Next(light)                           // no allocation
//
// A script defines light(at, now). It is called once, with at and now standing
// for all pixels and all frames; operators and functions on them build a graph
// in which equal expressions are one node. The graph has no loops, so what a
// pattern costs is known before it runs (Graph.Cost). It is computed in three
// parts: once a clip what depends on the pixel only, once a frame in float64
// what depends on time only, and in blocks of 256 pixels in float32 the rest.
// Every product is rounded before it is added and no function of the standard
// library that differs between processors is used, so all machines give the
// same bits.
//
// # The language
//
// Starlark with def, if, for, lists and list comprehensions. At top level,
// name = number(default, min, max, unit, help), color(css, help),
// choice(default, options, help) and toggle(default, help) declare controls; if
// may ask them, since they are decided before tracing. A condition on a field
// or on time is refused: choose with mix(a, b, step(edge, x)). and, or and not
// give True or False.
//
//	at.x at.y             mm, x right, y up
//	at.u at.v             0..1 across the panel
//	at.along              0..1 on the strip, in data order
//	at.index at.count     on the strip, from 0; pixels of the strip
//	at.strip              number of the strip, from 0
//	on("left")            1 on these strips, else 0; at.on("left") is the same
//	now.cycle(T)          0..1 every T seconds ("4 s" and 4 are the same); in a
//	                      clip that loops snapped to whole turns, which is told
//	now.progress          0..1 over the clip, bent by its easing; reaches 1 on
//	                      the last frame of a clip that does not loop
//	now.seconds           since the clip began; a loop that does not close is
//	                      measured and told (script.seam)
//	now.value             0..1, in a clip that follows a value
//
// Functions are those of GLSL ES 3.00 chapter 8 with its argument orders: abs
// sign floor ceil trunc round roundEven fract mod min max clamp mix step
// smoothstep length distance dot normalize sin cos tan asin acos atan(y, x)
// atan(x) radians degrees pow exp exp2 log log2 sqrt inversesqrt, and the
// constructors vec2, vec3. They work on each number of a vector or light; a
// single number goes with every part.
//
//	color("css")          a CSS Color 4 color; in arithmetic its light
//	gradient("navy", "gold 30%", color("white"), space = "oklab", hue = "shorter")
//	                      palette(t) is light, t 0..1; beyond, the ends continue.
//	                      1024 straight steps; a hard edge is one step wide
//	mix(a, b, t)          a + t*(b-a) in light; with space = "oklab" two colors
//	                      in that space, t kept to 0..1
//	lightness(p)          CIE L* as 0..1 to linear light
//	noise(x[, y[, z]], seed, period)
//	                      gradient noise, -1..1, 0 on every whole number; rms
//	                      about 0.28 (1D), 0.30 (2D), 0.22 (3D); period: cells
//	                      after which the last coordinate repeats
//	fbm(x[, y[, z]], octaves = 4, seed, period)
//	                      octaves of noise, each twice as fine and half as
//	                      strong, divided by the sum of strengths: -1..1
//	hash(x[, y[, z]], seed)
//	                      0..1, one number for each whole number (floor is taken)
//	trail(x, half = "0.4 s")
//	                      the brightest so far, halved every half; in a clip that
//	                      loops it has seen a whole lap before frame 0
//
// Seeds join the layer's seed with the script's own.
//
// # Edge rules
//
// Where GLSL leaves a result undefined, this is what it is here. x/0 = 0 and
// mod(x, 0) = 0 where the divisor is a field; a divisor that is the number 0 is
// an error. x % y is mod(x, y): it has the sign of y, in Starlark and GLSL
// alike. smoothstep(e0, e1, x) with e0 > e1 falls instead of rising; with e0 =
// e1 it is 0 up to the edge and 1 above. pow(x, y) is 1 for y = 0, the product
// for a constant whole y from 0 to 8, whatever the sign of x, else 0 for x <= 0.
// sqrt and inversesqrt of 0 or less are 0. log and log2 of less than 1e-12 are
// those of 1e-12. asin and acos keep their argument to -1..1. atan(0, 0) = 0.
// normalize of a zero vector is zero. clamp(x, lo, hi) is min(max(x, lo), hi).
// round takes ties up. Coordinates of noise and hash stay within +-4194304.
// Every number stays within +-1e12: larger results saturate.
//
// # What is refused
//
// A script over 32 KiB, more than 300000 steps, lists over 4096 elements,
// graphs over 8192 nodes, 64 gradients, 16 trails; while, load, recursion,
// dictionaries, slices, star arguments, text formatting and every universal
// function not named here. Errors are finding.Finding or finding.List with
// file:line:column, the shapes met, and what to write instead.
package script
