package script

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/color"
	"paneglow/anim/finding"
)

// The float32 functions against the standard library's in float64 (on amd64,
// where it is good to a few 1e-16). The bounds are the greatest errors found,
// rounded up; the package's comment in math32.go states them.
func TestFunctionAccuracy(t *testing.T) {
	type row struct {
		name     string
		f        func(float32) float32
		want     func(float64) float64
		lo, hi   float64
		abs, rel float64
	}
	for _, c := range []row{
		{"sin", sin32, math.Sin, -1e5, 1e5, 9e-8, 0},
		{"cos", cos32, math.Cos, -1e5, 1e5, 9e-8, 0},
		{"tan", tan32, math.Tan, -1.5, 1.5, 0, 2e-7},
		{"exp", exp32, math.Exp, -20, 20, 0, 1.2e-7},
		{"exp2", exp2_32, math.Exp2, -30, 30, 0, 1.2e-7},
		{"log", log32, math.Log, 1e-6, 1e4, 6e-7, 0},
		{"log2", log2_32, math.Log2, 1e-6, 1e4, 1e-6, 0},
		{"pow 2.2", func(x float32) float32 { return pow32(x, 2.2) }, func(x float64) float64 { return math.Pow(x, float64(float32(2.2))) }, 1e-3, 10, 0, 1.2e-7},
		{"asin", asin32, math.Asin, -1, 1, 1.5e-7, 0},
		{"acos", acos32, math.Acos, -1, 1, 2.5e-7, 0},
		{"atan", atan32, math.Atan, -50, 50, 1.5e-7, 0},
		{"atan2", func(x float32) float32 { return atan2_32(x, -0.3) }, func(x float64) float64 { return math.Atan2(x, float64(float32(-0.3))) }, -2, 2, 2.5e-7, 0},
		{"lightness", lightness32, color.Lightness, 0, 1, 1.5e-7, 0},
	} {
		worst, at := 0.0, 0.0
		for i := range 200001 {
			x := float32(c.lo + (c.hi-c.lo)*float64(i)/200000)
			want, got := c.want(float64(x)), float64(c.f(x))
			e := math.Abs(got - want)
			if c.rel > 0 {
				e /= math.Abs(want)
				if want == 0 {
					e = math.Abs(got)
				}
			}
			if e > worst {
				worst, at = e, float64(x)
			}
		}
		t.Logf("%-10s greatest error %.2g at %g", c.name, worst, at)
		require.LessOrEqual(t, worst, c.abs+c.rel, c.name)
	}
}

// number traces an expression and gives its value at the first pixel of the
// first frame, once as the pixels compute it and once as a shared number.
func number(t *testing.T, expr string) (pixel, shared float64) {
	t.Helper()
	for i, zero := range []string{"at.u * 0.0 + (at.strip - at.strip)", "now.seconds"} {
		// zero is 0 but nobody can prove it.
		src := "def light(at, now):\n    zero = " + zero + "\n    if True:\n        zero = " + []string{"floor(at.u * 0.5)", "now.seconds"}[i] + "\n    return color(\"white\") * vec3(" + expr + ")\n"
		p := traced2(t, src, Options{Frames: 10, FPS: 10})
		dst := make([]color.Light, 180)
		require.NoError(t, p.Start().Next(dst))
		if i == 0 {
			pixel = float64(dst[0][1])
		} else {
			shared = float64(dst[0][1])
		}
	}
	return pixel, shared
}

// The rules of GLSL ES 3.00 chapter 8 (reference pages; from memory where the
// comment says so), and the package's own rules where GLSL leaves a result
// undefined.
func TestFunctionValues(t *testing.T) {
	for expr, want := range map[string]float64{
		// GLSL ES 3.00, reference pages.
		"fract(zero - 0.25)": 0.75, "mod(zero + 5.5, 2)": 1.5, "mod(zero - 5.5, 2)": 0.5, "mod(zero + 5.5, -2)": -0.5, "mod(zero - 0.25, 1)": 0.75,
		"(zero - 5.5) % 2": 0.5, "mix(2, 4, zero + 1.5)": 5, "mix(zero + 2, 4, 0)": 2, "mix(zero + 2, 4, 1)": 4,
		"step(0.5, zero + 0.5)": 1, "step(0.5, zero + 0.4999)": 0, "step(zero + 0.5, 0.5)": 1,
		"smoothstep(0, 1, zero)": 0, "smoothstep(0, 1, zero + 0.25)": 0.15625, "smoothstep(0, 1, zero + 0.5)": 0.5, "smoothstep(0, 1, zero + 0.75)": 0.84375,
		"smoothstep(0.2, 0.8, zero + 0.35)": 0.15625, "smoothstep(zero + 0.2, 0.8 + zero, 0.35)": 0.15625,
		"clamp(zero + 7, 0, 3)": 3, "clamp(zero - 7, 0, 3)": 0, "min(zero + 1, 2)": 1, "max(zero + 1, 2, 3)": 3, "sign(zero - 3)": -1, "sign(zero)": 0,
		"floor(zero - 1.5)": -2, "ceil(zero - 1.5)": -1, "trunc(zero - 1.5)": -1, "roundEven(zero + 2.5)": 2, "roundEven(zero + 3.5)": 4, "abs(zero - 2)": 2,
		"radians(zero + 180)": math.Pi, "degrees(zero + 1)": 180 / math.Pi,
		"length(vec2(zero + 3, 4))": 5, "distance(vec2(1, 2) + zero, vec2(4, 6))": 5, "dot(vec3(1, 2, 3) + zero, vec3(4, 5, 6))": 32,
		"normalize(vec2(3, 4) + zero).y": 0.8, "atan(zero + 1, 1)": math.Pi / 4, "atan(zero + 1, -1)": 3 * math.Pi / 4, "atan(zero - 1, -1)": -3 * math.Pi / 4,
		"pow(zero + 2, 10)": 1024, "pow(2, zero + 10)": 1024, "exp2(zero + 3)": 8, "log2(zero + 8)": 3, "inversesqrt(zero + 4)": 0.5,
		"sin(radians(zero + 90))": 1, "cos(zero)": 1, "tan(radians(zero + 45))": 1, "asin(zero + 1)": math.Pi / 2, "acos(zero)": math.Pi / 2, "exp(zero + 1)": math.E, "log(zero + 1)": 0,
		// CIE 15: L* = 50 is Y = 18.42 %.
		"lightness(zero + 0.5)": 0.18418651851244416,
		// Our own, where GLSL is undefined.
		"1 / (zero + 0)": 0, "1 / zero": 0, "mod(zero + 3, zero)": 0, "3 % zero": 0,
		"smoothstep(zero + 1, 0, 0.25)": 0.84375, "smoothstep(0.5 + zero, 0.5 + zero, 0.5)": 0, "smoothstep(0.5 + zero, 0.5 + zero, 0.5001)": 1,
		"pow(zero - 2, 3)": -8, "pow(zero - 2, 0.5)": 0, "pow(zero - 2, zero + 2.5)": 0, "pow(zero, zero)": 1, "pow(zero, zero + 2)": 0, "pow(zero, zero - 2)": 0,
		"sqrt(zero - 1)": 0, "inversesqrt(zero)": 0, "inversesqrt(zero - 1)": 0, "log2(zero)": math.Log2(1e-12), "log(zero - 5)": math.Log(1e-12),
		"asin(zero + 2)": math.Pi / 2, "acos(zero - 2)": math.Pi, "atan(zero, zero)": 0, "normalize(vec2(zero, zero)).x": 0, "round(zero + 2.5)": 3, "round(zero - 2.5)": -2,
		"clamp(zero + 5, 3, 1)": 1, "exp(zero + 500)": 1e12, "1e9 * (zero + 1e9)": 1e12, "pow(zero + 10, 300)": 1e12, "(zero + 1e12) * 1e12 - (zero + 1e12) * 1e12": 0,
	} {
		pixel, shared := number(t, expr)
		tol := 4e-7 * math.Max(1, math.Abs(want))
		require.InDelta(t, want, pixel, tol, "%s for pixels", expr)
		require.InDelta(t, want, shared, tol, "%s for all", expr)
	}
}

func TestPlainNumbersStayPlain(t *testing.T) {
	src := `
n = int(floor(max(3.7, 2)))
def light(at, now):
    if n == 3 and min(1, 2) == 1 and sqrt(16) == 4 and hash(1) == hash(1.5):
        return color("white")
    return color("black")
`
	dst := make([]color.Light, 180)
	require.NoError(t, traced2(t, src, Options{}).Start().Next(dst))
	require.Equal(t, color.Light{1, 1, 1}, dst[5])
}

// A table of 1024 straight steps against the gradient itself.
func TestPaletteAccuracy(t *testing.T) {
	for text, bound := range map[string]float64{
		`"black", "white"`: 1e-5, `"red", "lime", "blue", space = "oklch", hue = "longer"`: 1e-4, `"#000", "#fff", space = "srgb"`: 1e-5,
		`"navy", "gold 30%", "white"`: 2e-3, // a stop between two entries is cut off
	} {
		p := traced2(t, "def light(at, now):\n    return gradient("+text+")(at.along)\n", Options{})
		require.Len(t, p.g.palettes, 1)
		pal := p.g.palettes[0]
		ramp := rampOf(t, text)
		worst := 0.0
		for i := range 20011 {
			x := float64(i) / 20010
			want := ramp.g.At(x)
			for k := range 3 {
				worst = math.Max(worst, math.Abs(float64(pal.at(float32(x), k)-want[k])))
			}
		}
		t.Logf("%s: greatest error %.2g of white", text, worst)
		require.Less(t, worst, bound)
		require.Equal(t, ramp.g.At(1)[0], pal.at(7, 0), "beyond 1 the last color goes on")
		require.Equal(t, ramp.g.At(0)[1], pal.at(-7, 1), "before 0 the first does")
	}
}

func findings(err error) finding.List {
	switch e := err.(type) {
	case finding.List:
		return e
	case finding.Finding:
		return finding.List{e}
	}
	return nil
}
