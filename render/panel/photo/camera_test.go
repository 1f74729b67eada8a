package photo

import (
	"bytes"
	"image"
	"image/jpeg"
	"image/png"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// camera takes pictures of a pane by a way of its own: it knows the glass's lobe
// and balances it by a plain sum over the disc of directions, works with
// vectors, and sums over a square LED. It shares nothing with the package.
type camera struct {
	fwhm, q, half  float64 // deg, share, deg
	depth, emitter float64 // mm
	scale          float64 // mm a pixel
	w, h           int
	x, y           float64 // the LED's place, pixels
	distance       float64 // mm; 0: far
	peak           float64 // light at the spot's middle, 1 = full scale
	ambient        float64 // light of the room
	slope          float64 // of it, from left to right
	noise          float64 // standard deviation, of full scale
	shot           float64 // standard deviation of the noise at full scale that goes with the root of light
	vignette       float64 // lens to pane, mm: cos^4 of the angle from the picture's middle; 0: none
	tone           float64 // exponent that the camera bends light with; 0: none
	deep           bool    // 16 bits
	encoding       Encoding
	tint           [3]float64 // 0: white
	stretch        float64    // of the spot along x, as from the side
	seed           uint64
	sharp          float64      // light of a sharp image of the LED, as a share of the spot's peak
	more           [][3]float64 // further lamps: x, y, height
}

// still is a camera that takes a good picture.
func still(fwhm, q float64) camera {
	return camera{fwhm: fwhm, q: q, half: 60, depth: 30, scale: 0.4, w: 360, h: 288, x: 183.3, y: 142.8, peak: 0.8, ambient: 0.01, noise: 0.003, shot: 0.01, deep: true, seed: 1}
}

// u balances a lobe: u(b) times the sum of u G over the disc is 1.
type balance struct{ u []float64 }

const radii = 60

var balances sync.Map

func balanced(s float64) balance {
	if b, ok := balances.Load(s); ok {
		return b.(balance)
	}
	n := min(max(int(6/s), 120), 500)
	type spot struct{ x, y, r float64 }
	var disc []spot
	for i := range n {
		for j := range n {
			x, y := (float64(i)+0.5)*2/float64(n)-1, (float64(j)+0.5)*2/float64(n)-1
			if r := math.Hypot(x, y); r < 1 {
				disc = append(disc, spot{x, y, r})
			}
		}
	}
	b := balance{make([]float64, radii+1)}
	for k := range b.u {
		b.u[k] = 1 / (math.Sqrt(2*math.Pi) * s)
	}
	cell := 4 / float64(n*n)
	for range 15 {
		next := make([]float64, radii+1)
		for k := range next {
			at := float64(k) / radii
			sum := 0.0
			for _, p := range disc {
				dx := p.x - at
				if e := (dx*dx + p.y*p.y) / (2 * s * s); e < 25 {
					sum += b.at(p.r) * math.Exp(-e) * cell
				}
			}
			next[k] = math.Sqrt(b.u[k] / sum)
		}
		b.u = next
	}
	balances.Store(s, b)
	return b
}

func (b balance) at(r float64) float64 {
	p := r * radii
	i := min(int(p), radii-1)
	return b.u[i] + (p-float64(i))*(b.u[i+1]-b.u[i])
}

// luminance is that of the pane at (x, y) mm from the spot's middle, towards the
// camera above the middle, by a place (u, v) of the LED's face.
func (c *camera) luminance(bal balance, s, m, x, y, u, v float64) float64 {
	rx, ry, rz := x-u, y-v, c.depth
	long := math.Sqrt(rx*rx + ry*ry + rz*rz)
	rx, ry, rz = rx/long, ry/long, rz/long
	e := math.Pow(rz, m) * rz / (long * long)
	ox, oy := 0.0, 0.0
	if c.distance > 0 {
		far := math.Sqrt(x*x + y*y + c.distance*c.distance)
		ox, oy = -x/far, -y/far
	}
	d2 := (rx-ox)*(rx-ox) + (ry-oy)*(ry-oy)
	f := bal.at(math.Hypot(rx, ry)) * bal.at(math.Hypot(ox, oy)) * math.Exp(-d2/(2*s*s))
	return e * ((1-c.q)*f + c.q/math.Pi)
}

// light is the picture's linear light, before noise and codes.
func (c *camera) light() []float64 {
	sigma := c.fwhm / (2 * math.Sqrt(2*math.Ln2)) * math.Pi / 180
	s := math.Sin(sigma)
	bal := balanced(s)
	m := -math.Ln2 / math.Log(math.Cos(c.half*math.Pi/180))
	// Gauss and Legendre's six places and weights (Abramowitz and Stegun 25.4.30).
	places, weights := []float64{0}, []float64{2.0}
	if c.emitter > 0 {
		places = []float64{-.932469514203152, -.661209386466265, -.238619186083197, .238619186083197, .661209386466265, .932469514203152}
		weights = []float64{.171324492379170, .360761573048139, .467913934572691, .467913934572691, .360761573048139, .171324492379170}
	}
	one := func(x, y float64) float64 {
		sum := 0.0
		for i, u := range places {
			for j, v := range places {
				sum += weights[i] * weights[j] / 4 * c.luminance(bal, s, m, x, y, c.emitter/2*u, c.emitter/2*v)
			}
		}
		return sum
	}
	gain := c.peak / one(0, 0)
	out := make([]float64, c.w*c.h)
	var wait sync.WaitGroup
	for y := range c.h {
		wait.Go(func() {
			for x := range c.w {
				sharp := 0.0
				if math.Max(math.Abs(float64(x)-c.x), math.Abs(float64(y)-c.y))*c.scale < c.emitter/2 {
					sharp = c.sharp * c.peak
				}
				dx, dy := (float64(x)-c.x)*c.scale, (float64(y)-c.y)*c.scale
				v := gain*one(dx/(1+c.stretch), dy) + sharp
				for _, l := range c.more {
					v += gain * l[2] * one(dx-(l[0]-c.x)*c.scale, dy-(l[1]-c.y)*c.scale)
				}
				v += c.ambient + c.slope*(float64(x)/float64(c.w)-0.5)
				if c.vignette > 0 {
					ax, ay := (float64(x)-float64(c.w)/2)*c.scale, (float64(y)-float64(c.h)/2)*c.scale
					t := (ax*ax + ay*ay) / (c.vignette * c.vignette)
					v /= (1 + t) * (1 + t)
				}
				out[y*c.w+x] = v
			}
		})
	}
	wait.Wait()
	return out
}

// image takes the picture: noise, codes, clipping.
func (c *camera) image(light []float64) image.Image {
	rnd := rand.New(rand.NewPCG(c.seed, 5))
	tint := c.tint
	if tint == [3]float64{} {
		tint = [3]float64{1, 1, 1}
	}
	img := image.NewNRGBA64(image.Rect(0, 0, c.w, c.h))
	small := image.NewNRGBA(img.Rect)
	for i, v := range light {
		for k := range 3 {
			l := v * tint[k]
			l += c.noise*rnd.NormFloat64() + c.shot*math.Sqrt(math.Max(l, 0))*rnd.NormFloat64()
			l = math.Min(math.Max(l, 0), 1)
			if c.tone != 0 {
				l = math.Pow(l, c.tone)
			}
			code := l // linear
			if c.encoding.Gamma == 0 {
				code = 1.055*math.Pow(l, 1/2.4) - 0.055
				if l <= 0.0031308 {
					code = 12.92 * l
				}
			}
			n := uint16(math.Round(code * 65535))
			img.Pix[8*i+2*k], img.Pix[8*i+2*k+1] = uint8(n>>8), uint8(n)
			small.Pix[4*i+k] = uint8(math.Round(code * 255))
		}
		img.Pix[8*i+6], img.Pix[8*i+7], small.Pix[4*i+3] = 255, 255, 255
	}
	if c.deep {
		return img
	}
	return small
}

func (c *camera) png(t testing.TB) []byte {
	var b bytes.Buffer
	require.NoError(t, (&png.Encoder{CompressionLevel: png.NoCompression}).Encode(&b, c.image(c.light())))
	return b.Bytes()
}

func (c *camera) jpeg(t testing.TB, quality int) []byte {
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, c.image(c.light()), &jpeg.Options{Quality: quality}))
	return b.Bytes()
}

// shoot takes a picture and reads it: as JPEG of a quality, or at 0 without loss.
func (c *camera) shoot(t testing.TB, quality int) *Picture {
	if quality == 0 { // as a PNG would be read, see TestPNG
		p := &Picture{Name: "photo.png", W: c.w, H: c.h, Format: "png", Bits: 8, img: c.image(c.light()), light: c.encoding.table()}
		if c.deep {
			p.Bits = 16
		}
		return p
	}
	p, err := Read("photo.jpg", c.jpeg(t, quality), c.encoding)
	require.NoError(t, err)
	return p
}

func TestPNG(t *testing.T) {
	for _, deep := range []bool{false, true} {
		c := still(25, 0.15)
		c.deep = deep
		read, err := Read("photo.png", c.png(t), c.encoding)
		require.NoError(t, err)
		a, err := Fit(read, c.settings())
		require.NoError(t, err)
		b, err := Fit(c.shoot(t, 0), c.settings())
		require.NoError(t, err)
		require.Equal(t, a, b)
	}
}
