package portable

import "math"

// Matrix is a 3 x 3 matrix by rows.
type Matrix [3][3]float64

// Mul is the matrix times a column.
func (m Matrix) Mul(v [3]float64) [3]float64 {
	var r [3]float64
	for i := range r {
		r[i] = float64(m[i][0]*v[0]) + float64(m[i][1]*v[1]) + float64(m[i][2]*v[2])
	}
	return r
}

// Times is the product of two matrices.
func (m Matrix) Times(n Matrix) Matrix {
	var r Matrix
	for j := range 3 {
		c := m.Mul([3]float64{n[0][j], n[1][j], n[2][j]})
		for i := range 3 {
			r[i][j] = c[i]
		}
	}
	return r
}

// Inverse is the inverse by cofactors; ok is false when the determinant is
// below 1e-9 of the cube of the largest element, so that the rows are as good
// as dependent.
func (m Matrix) Inverse() (inverse Matrix, ok bool) {
	minor := func(r0, c0, r1, c1 int) float64 {
		return float64(m[r0][c0]*m[r1][c1]) - float64(m[r0][c1]*m[r1][c0])
	}
	a := Matrix{
		{minor(1, 1, 2, 2), -minor(0, 1, 2, 2), minor(0, 1, 1, 2)},
		{-minor(1, 0, 2, 2), minor(0, 0, 2, 2), -minor(0, 0, 1, 2)},
		{minor(1, 0, 2, 1), -minor(0, 0, 2, 1), minor(0, 0, 1, 1)},
	}
	det := float64(m[0][0]*a[0][0]) + float64(m[0][1]*a[1][0]) + float64(m[0][2]*a[2][0])
	most := 0.0
	for i := range m {
		for j := range m {
			most = math.Max(most, math.Abs(m[i][j]))
		}
	}
	if math.Abs(det) <= float64(1e-9*float64(most*float64(most*most))) {
		return Matrix{}, false
	}
	for i := range a {
		for j := range a {
			a[i][j] /= det
		}
	}
	return a, true
}

// MustInverse is Inverse of a matrix known to have one; it panics otherwise.
func (m Matrix) MustInverse() Matrix {
	inv, ok := m.Inverse()
	if !ok {
		panic("portable: a constant matrix without an inverse")
	}
	return inv
}
