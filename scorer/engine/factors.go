package engine

// four are the LDLᵀ factors of the normal equations of four unknowns: L below its
// diagonal of ones, and the reciprocals of D.
type four struct {
	l10, l20, l30  float64
	l21, l31, l32  float64
	d0, d1, d2, d3 float64
}

// five are those of five unknowns: a row more than those of the first four, which
// all fits share that differ in the fifth alone.
type five struct {
	four
	l40, l41, l42, l43, d4 float64
}

// ridge keeps a window that tells nothing of a shape from dividing by 0.
const ridge = 1e-6

// factor takes the factors of a symmetric positive definite matrix, of which the
// lower half is read.
func factor(m *[4][4]float64) (f four) {
	d0 := m[0][0] + ridge
	f.l10, f.l20, f.l30 = m[1][0]/d0, m[2][0]/d0, m[3][0]/d0
	d1 := m[1][1] + ridge - f.l10*m[1][0]
	c21, c31 := m[2][1]-f.l20*m[1][0], m[3][1]-f.l30*m[1][0]
	f.l21, f.l31 = c21/d1, c31/d1
	d2 := max(m[2][2]+ridge-f.l20*m[2][0]-f.l21*c21, ridge)
	c32 := m[3][2] - f.l30*m[2][0] - f.l31*c21
	f.l32 = c32 / d2
	d3 := max(m[3][3]+ridge-f.l30*m[3][0]-f.l31*c31-f.l32*c32, ridge)
	f.d0, f.d1, f.d2, f.d3 = 1/d0, 1/d1, 1/d2, 1/d3
	return f
}

// with adds a fifth row to the matrix.
func (f *four) with(row *[5]float64) five {
	c := f.forward([4]float64(row[:4]))
	g := five{four: *f, l40: c[0] * f.d0, l41: c[1] * f.d1, l42: c[2] * f.d2, l43: c[3] * f.d3}
	g.d4 = 1 / max(row[4]+ridge-c[0]*g.l40-c[1]*g.l41-c[2]*g.l42-c[3]*g.l43, ridge)
	return g
}

// forward solves Lz = y.
func (f *four) forward(y [4]float64) [4]float64 {
	z1 := y[1] - f.l10*y[0]
	z2 := y[2] - f.l20*y[0] - f.l21*z1
	z3 := y[3] - f.l30*y[0] - f.l31*z1 - f.l32*z2
	return [4]float64{y[0], z1, z2, z3}
}

// last is z[4] of Lz = y, given the others.
func (f *five) last(z *[4]float64, y4 float64) float64 {
	return y4 - f.l40*z[0] - f.l41*z[1] - f.l42*z[2] - f.l43*z[3]
}

// squares is zᵀD⁻¹z: with Lz = y it is yᵀM⁻¹y, by how much the fit lowers the sum
// of squares.
func (f *four) squares(z [4]float64) float64 {
	return z[0]*z[0]*f.d0 + z[1]*z[1]*f.d1 + z[2]*z[2]*f.d2 + z[3]*z[3]*f.d3
}

func (f *four) explained(y [4]float64) float64 { return f.squares(f.forward(y)) }

func (f *five) explained(y *[5]float64) float64 {
	z := f.forward([4]float64(y[:4]))
	z4 := f.last(&z, y[4])
	return f.squares(z) + z4*z4*f.d4
}

// solve returns the unknowns for a right-hand side.
func (f *four) solve(y [4]float64) [4]float64 { return f.unknowns(f.forward(y)) }

// unknowns solves Lᵀx = D⁻¹z.
func (f *four) unknowns(z [4]float64) [4]float64 {
	return f.back(z[0]*f.d0, z[1]*f.d1, z[2]*f.d2, z[3]*f.d3)
}

// back solves Lᵀx = w.
func (f *four) back(w0, w1, w2, w3 float64) [4]float64 {
	w2 -= f.l32 * w3
	w1 = w1 - f.l21*w2 - f.l31*w3
	w0 = w0 - f.l10*w1 - f.l20*w2 - f.l30*w3
	return [4]float64{w0, w1, w2, w3}
}

func (f *five) solve(y *[5]float64) [5]float64 {
	z := f.forward([4]float64(y[:4]))
	x4 := f.last(&z, y[4]) * f.d4
	x := f.back(z[0]*f.d0-f.l40*x4, z[1]*f.d1-f.l41*x4, z[2]*f.d2-f.l42*x4, z[3]*f.d3-f.l43*x4)
	return [5]float64{x[0], x[1], x[2], x[3], x4}
}
