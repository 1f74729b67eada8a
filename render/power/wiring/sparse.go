package wiring

import "slices"

// sparse is a symmetric positive definite matrix that is factored again and
// again with one pattern: L D L' with the rows in the order of least degree,
// which for strips that hang on one point like teeth on a comb leaves hardly
// any fill. Twin: gonum's dense solver, in the tests.
type sparse struct {
	n     int
	order []int // order[k] is the row that is eliminated k-th
	place []int // its inverse

	// L by columns in elimination order, without the ones on its diagonal.
	start []int // column k is start[k]:start[k+1]
	row   []int
	value []float64
	diag  []float64

	// For row i, the columns left of it that reach it, and where.
	left [][]entry

	base []float64 // matrix values: diagonal first, then one for each entry of L
	work []float64
}

type entry struct{ col, at int }

// newSparse makes an empty matrix whose entries may be where edges are.
func newSparse(n int, edges [][2]int) *sparse {
	s := &sparse{n: n, order: make([]int, 0, n), place: make([]int, n)}
	near := make([]map[int]bool, n)
	for i := range near {
		near[i] = map[int]bool{}
	}
	for _, e := range edges {
		if e[0] != e[1] {
			near[e[0]][e[1]], near[e[1]][e[0]] = true, true
		}
	}
	gone := make([]bool, n)
	columns := make([][]int, n) // by original row
	for range n {
		best := -1
		for i := range near {
			if !gone[i] && (best < 0 || len(near[i]) < len(near[best])) {
				best = i
			}
		}
		gone[best] = true
		s.place[best] = len(s.order)
		s.order = append(s.order, best)
		var around []int
		for i := range near[best] {
			around = append(around, i)
		}
		slices.Sort(around)
		columns[best] = around
		for x, i := range around {
			delete(near[i], best)
			for _, j := range around[x+1:] {
				near[i][j], near[j][i] = true, true
			}
		}
	}
	s.left = make([][]entry, n)
	s.start = make([]int, n+1)
	for k, i := range s.order {
		rows := make([]int, 0, len(columns[i]))
		for _, j := range columns[i] {
			rows = append(rows, s.place[j])
		}
		slices.Sort(rows)
		for _, r := range rows {
			s.left[r] = append(s.left[r], entry{k, len(s.row)})
			s.row = append(s.row, r)
		}
		s.start[k+1] = len(s.row)
	}
	s.value = make([]float64, len(s.row))
	s.diag = make([]float64, n)
	s.base = make([]float64, n+len(s.row))
	s.work = make([]float64, n)
	return s
}

// clone shares the pattern and nothing that changes.
func (s *sparse) clone() *sparse {
	c := *s
	c.value, c.diag = slices.Clone(s.value), slices.Clone(s.diag)
	c.base, c.work = slices.Clone(s.base), make([]float64, s.n)
	return &c
}

// slot is where entry (i, j) stands in base. It panics where there is none.
func (s *sparse) slot(i, j int) int {
	a, b := s.place[i], s.place[j]
	if a == b {
		return a
	}
	if a > b {
		a, b = b, a
	}
	at, ok := slices.BinarySearch(s.row[s.start[a]:s.start[a+1]], b)
	if !ok {
		panic("wiring: no such entry")
	}
	return s.n + s.start[a] + at
}

func (s *sparse) add(i, j int, v float64) { s.base[s.slot(i, j)] += v }

// factor makes L and D of what base holds. ok is false where a pivot is not
// positive: the matrix is not positive definite.
func (s *sparse) factor() (ok bool) {
	for k := range s.n {
		col := s.row[s.start[k]:s.start[k+1]]
		for x, r := range col {
			s.work[r] = s.base[s.n+s.start[k]+x]
		}
		d := s.base[k]
		for _, e := range s.left[k] {
			// Column e.col reaches row k: take its part off.
			f := s.value[e.at] * s.diag[e.col]
			d -= f * s.value[e.at]
			for x := e.at + 1; x < s.start[e.col+1]; x++ {
				s.work[s.row[x]] -= f * s.value[x]
			}
		}
		if !(d > 0) {
			return false
		}
		s.diag[k] = d
		for x, r := range col {
			s.value[s.start[k]+x] = s.work[r] / d
		}
	}
	return true
}

// solve turns a right-hand side into the solution, in place. y is room for as
// many numbers: with one of its own, each goroutine may solve at the same time.
func (s *sparse) solve(b, y []float64) {
	for k, i := range s.order {
		y[k] = b[i]
	}
	for k := range s.n {
		v := y[k]
		for x := s.start[k]; x < s.start[k+1]; x++ {
			y[s.row[x]] -= s.value[x] * v
		}
	}
	for k := s.n - 1; k >= 0; k-- {
		v := y[k] / s.diag[k]
		for x := s.start[k]; x < s.start[k+1]; x++ {
			v -= s.value[x] * y[s.row[x]]
		}
		y[k] = v
	}
	for k, i := range s.order {
		b[i] = y[k]
	}
}
