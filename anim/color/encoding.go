package color

// DecodeByte turns an 8-bit value into linear light, 0..1: by the sRGB curve
// for gamma 0, else by value/255 to the power of gamma.
func DecodeByte(v uint8, gamma float64) float64 {
	return decodeGamma(float64(v)/255, gamma)
}

func decodeGamma(c, gamma float64) float64 {
	if gamma == 0 {
		return Decode(c)
	}
	return power(c, gamma)
}

// DecodeTable is DecodeByte for all 256 values.
func DecodeTable(gamma float64) *[256]float32 {
	var t [256]float32
	for i := range t {
		t[i] = float32(DecodeByte(uint8(i), gamma))
	}
	return &t
}

// ParseEncoded is Parse for a show that decodes 8-bit colors by an exponent
// instead of the sRGB curve: what is written in hexadecimal, by name or with
// rgb() becomes linear light by that exponent; all other notations state their
// own encoding and stay as they are. Gamma 0 is plain Parse.
func ParseEncoded(text string, gamma float64) (Color, error) {
	c, err := Parse(text)
	if err != nil || gamma == 0 || c.Space != SRGB {
		return c, err
	}
	for i := range c.C {
		c.C[i] = power(c.C[i], gamma)
	}
	c.Space = SRGBLinear
	return c, nil
}
