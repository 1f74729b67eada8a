package photo

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Encoding says how a photo's codes are decoded to linear light. The zero value
// is sRGB, which is also right for Display P3 and close to Adobe RGB's 2.2.
type Encoding struct {
	Gamma float64 // 0: the sRGB curve; 1: the codes are linear; else the exponent
}

// ParseEncoding reads "srgb", "linear" or "gamma 2.2", 1.0 to 3.0.
func ParseEncoding(text string) (Encoding, error) {
	switch s := strings.TrimSpace(text); {
	case s == "srgb":
		return Encoding{}, nil
	case s == "linear":
		return Encoding{Gamma: 1}, nil
	case strings.HasPrefix(s, "gamma"):
		v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimPrefix(s, "gamma")), 64)
		if err == nil && v >= 1 && v <= 3 {
			return Encoding{Gamma: v}, nil
		}
	}
	return Encoding{}, fmt.Errorf(`%q is no encoding: write srgb, linear or "gamma 2.2", 1.0 to 3.0`, text)
}

// String writes what ParseEncoding reads.
func (e Encoding) String() string {
	switch e.Gamma {
	case 0:
		return "srgb"
	case 1:
		return "linear"
	}
	return "gamma " + strconv.FormatFloat(e.Gamma, 'g', -1, 64)
}

// light is linear light, 0 to 1, of a code as a share of the largest.
func (e Encoding) light(v float64) float64 {
	switch {
	case e.Gamma != 0:
		return math.Pow(v, e.Gamma)
	case v <= 0.04045:
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// table is light by 16-bit code.
func (e Encoding) table() []float32 {
	t := make([]float32, 65536)
	for i := range t {
		t[i] = float32(e.light(float64(i) / 65535))
	}
	return t
}
