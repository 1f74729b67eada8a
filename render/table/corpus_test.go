package table

import (
	"math"
	"math/rand/v2"
)

// doorway is a panel of 300 pixels: up the left side, along the top, down the
// right. 900 channels.
func doorway() *Show {
	s := cabinet()
	s.Strips = []Strip{{Name: "left", Pixels: 110}, {Name: "top", Pixels: 80}, {Name: "right", Pixels: 110}}
	return s
}

// corpus is eight invented clips of 300 pixels at 40 frames a second: six move
// smoothly, two do not.
func corpus(frames int) map[string][]byte {
	const px = 300
	u := func(i int) float64 { return float64(i) / px }
	code := func(x float64) uint8 { return uint8(math.Floor(255*0.35*min(max(x, 0), 1) + 0.5)) }
	paint := func(light func(i, f int) [3]float64) []byte {
		b := make([]byte, 0, px*3*frames)
		for f := range frames {
			for i := range px {
				c := light(i, f)
				b = append(b, code(c[0]), code(c[1]), code(c[2]))
			}
		}
		return b
	}
	step := func(a, b, x float64) float64 {
		x = min(max((x-a)/(b-a), 0), 1)
		return x * x * (3 - 2*x)
	}
	fract := func(x float64) float64 { return x - math.Floor(x) }
	r := rand.New(rand.NewPCG(1, 2))
	noise := make([]float64, 4096)
	for i := range noise {
		noise[i] = r.Float64()
	}
	soft := func(x float64) float64 {
		i := int(math.Floor(x))
		t := step(0, 1, x-float64(i))
		return noise[i&4095]*(1-t) + noise[(i+1)&4095]*t
	}
	seconds := func(f int) float64 { return float64(f) / 40 }
	return map[string][]byte{
		"drops": paint(func(i, f int) [3]float64 {
			var v float64
			for _, phase := range []float64{0, 0.37, 0.71} {
				v += 1 - step(0, 0.08, fract(u(i)+phase+seconds(f)/5))
			}
			return [3]float64{0.7 * v, 0.85 * v, v}
		}),
		"breath": paint(func(i, f int) [3]float64 {
			v := 0.55 - 0.45*math.Cos(2*math.Pi*seconds(f)/4)
			return [3]float64{v, v * (0.4 + 0.4*u(i)), v * 0.15}
		}),
		"drift": paint(func(i, f int) [3]float64 {
			p := 2 * math.Pi * (u(i) - seconds(f)/12)
			return [3]float64{0.5 + 0.4*math.Sin(p), 0.5 + 0.4*math.Sin(p+2), 0.5 + 0.4*math.Sin(p+4)}
		}),
		"swell": paint(func(i, f int) [3]float64 {
			v := soft(u(i)*6+seconds(f)*0.7) * soft(900+u(i)*4-seconds(f)*0.5)
			return [3]float64{0.2 * v, 0.6 * v, v}
		}),
		"fill": paint(func(i, f int) [3]float64 {
			v := step(-0.02, 0.02, fract(seconds(f)/8)-u(i))
			return [3]float64{0.1 + 0.5*v, 0.4 * v, 0.05}
		}),
		"wipe": paint(func(i, f int) [3]float64 {
			v := step(-0.1, 0.1, math.Sin(2*math.Pi*seconds(f)/6)-2*u(i)+1)
			return [3]float64{v, 0.3, 1 - v}
		}),
		"sparks": paint(func(i, f int) [3]float64 {
			v := math.Pow(max(0, math.Sin(2*math.Pi*(noise[i]+seconds(f)*(0.3+noise[i+400])))), 12)
			return [3]float64{v, v, 0.9 * v}
		}),
		"static": paint(func(i, f int) [3]float64 {
			return [3]float64{r.Float64(), r.Float64(), r.Float64()}
		}),
	}
}

// smooth names the clips of the corpus that move smoothly.
var smooth = []string{"drops", "breath", "drift", "swell", "fill", "wipe"}
