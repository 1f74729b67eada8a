package panel

import "math"

// sensitivity is how small a contrast the eye sees: one over the threshold
// modulation (max-min)/(max+min) of a grating.
//
//	u   cycles per degree
//	l   mean luminance in cd/m2
//	x0  angular size of the lit field in degrees
//
// Source: P. G. J. Barten, Contrast Sensitivity of the Human Eye,
// SPIE Press 1999, for both eyes, with its typical constants
// (from memory). TestSensitivity compares it with the DICOM grayscale function,
// which rests on the same model.
func sensitivity(u, l, x0 float64) float64 {
	const (
		k         = 3.0       // signal to noise at the threshold
		seconds   = 0.1       // integration time of the eye
		largest   = 12.0      // degrees it integrates over
		cycles    = 15.0      // cycles it integrates over
		quantum   = 0.03      // quantum efficiency
		photons   = 1.2e6     // per second, square degree and troland
		neural    = 3e-8      // spectral density of neural noise, s deg2
		lateral   = 7.0       // cycles per degree: below it lateral inhibition
		blur      = 0.5 / 60  // degrees, of the eye's line spread
		blurPupil = 0.08 / 60 // degrees per mm of pupil
	)
	l = math.Max(l, 1e-4)
	pupil := 5 - 3*math.Tanh(0.4*math.Log10(l*x0*x0/(40*40)))
	trolands := math.Pi * pupil * pupil / 4 * l * (1 - math.Pow(pupil/9.7, 2) + math.Pow(pupil/12.4, 4))
	spread := math.Hypot(blur, blurPupil*pupil)
	optics := math.Exp(-2 * math.Pi * math.Pi * spread * spread * u * u)
	area := 1/(x0*x0) + 1/(largest*largest) + u*u/(cycles*cycles)
	noise := 1/(quantum*photons*trolands) + neural/(1-math.Exp(-(u/lateral)*(u/lateral)))
	return optics / k / math.Sqrt(2/seconds*area*noise)
}

// degrees is the angle that a length in mm takes at a distance in mm.
func degrees(length, distance float64) float64 {
	return 2 * math.Atan(length/2/distance) * 180 / math.Pi
}

// unifiedGlare is the discomfort of a field for an eye at a distance in mm before its
// brightest point that looks at it, against surroundings of a luminance.
// Source: CIE 117-1995, UGR = 8 lg(0.25/Lb sum(L^2 omega/p^2)); the position
// index p is 1 throughout, which is the cautious side. Room numbers of EN
// 12464-1 run from 16 to 28 (both from memory).
func unifiedGlare(f *Field, distance, surround float64) float64 {
	at, peak := 0, float32(0)
	for i, v := range f.XYZ {
		if v[1] > peak {
			at, peak = i, v[1]
		}
	}
	if peak == 0 || surround <= 0 {
		return 0
	}
	x0, y0 := at%f.W, at/f.W
	sum := 0.0
	for j := range f.H {
		for i := range f.W {
			l := float64(f.XYZ[j*f.W+i][1])
			dx, dy := float64(i-x0)*f.Step, float64(j-y0)*f.Step
			r2 := dx*dx + dy*dy + distance*distance
			sum += l * l * f.Step * f.Step * distance / (r2 * math.Sqrt(r2))
		}
	}
	return math.Max(0, 8*math.Log10(0.25/surround*sum))
}
