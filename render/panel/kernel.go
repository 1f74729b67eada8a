package panel

import (
	"fmt"
	"math"

	"paneglow/anim/unit"
)

// Lobe is how glass of one scatter spreads a ray, without its Lambertian share:
// the reciprocal, energy-conserving lobe of this package's model, for whoever
// works with the model without a machine.
type Lobe struct{ l *lobe }

// NewLobe works out the lobe of a scatter above 0 and below 180 deg. Below
// 1.35 deg it is that of 1.35 deg, as everywhere in this package.
func NewLobe(scatter unit.Angle) (*Lobe, error) {
	if !(scatter > 0 && scatter < 180) {
		return nil, fmt.Errorf("a scatter of %v is outside 0 to 180 deg", scatter)
	}
	return &Lobe{newLobe(sineOf(scatter))}, nil
}

// Width is s, the lobe's standard width in direction cosines.
func (l *Lobe) Width() float64 { return l.l.s }

// Balance is u at the length of a lateral direction cosine, 0 to 1. The lobe for
// a ray that comes in at i and leaves at o is
// Balance(|i|) Balance(|o|) exp(-|o - i|^2 / 2 Width^2), per steradian.
func (l *Lobe) Balance(cosine float64) float64 {
	return l.l.at(math.Min(math.Max(cosine, 0), 1))
}

// Order is the exponent m of an LED's cosine law, from its half-intensity half
// angle, above 0 and below 90 deg: -ln 2 / ln cos.
func Order(halfAngle unit.Angle) (float64, error) {
	if !(halfAngle > 0 && halfAngle < 90) {
		return 0, fmt.Errorf("a half angle of %v is outside 0 to 90 deg", halfAngle)
	}
	return -math.Ln2 / math.Log(math.Cos(float64(halfAngle)*math.Pi/180)), nil
}
