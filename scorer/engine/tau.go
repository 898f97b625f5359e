package engine

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"

	"canter.example/schemas"
)

// Recovery constants are reported with at least this much recovery recorded,
// the least for which they are stable (FACTS 4.9); the fit uses at most five
// minutes.
const (
	leastRecovery = 180
	mostRecovery  = 300
)

// recoveryTau fits HR(t) = rest + (end-rest)·exp(-t/tau) (Barak et al. 2011;
// FACTS 4.7) to the valid samples from the end of the test on, by least
// squares with Nelder and Mead's search over tau; rest and end-rest are linear
// in the model and solved for exactly at each tau. The standard error is that
// of nonlinear least squares, from the Jacobian at the solution. Both are
// absent without three minutes of recovery covered to 80 %, or when the
// solution is no recovery (tau outside 5 to 400 s, or no fall).
func recoveryTau(s *series, end float64) (tau, se schemas.Number) {
	to := min(end+mostRecovery, s.at[len(s.at)-1]+s.hold[len(s.hold)-1])
	if to < end+leastRecovery || s.window(end, to).coverage() < 0.8 {
		return tau, se
	}
	t, y := s.after.t[:0], s.after.y[:0]
	for i := sort.SearchFloat64s(s.at, end); i < len(s.at) && s.at[i] < to; i++ {
		if s.why[i] == kept {
			t, y = append(t, s.at[i]-end), append(y, s.hr[i])
		}
	}
	s.after = decayReadings{t, y}
	// Movement in the recovery shows as a rise; a constant of that means nothing.
	low := math.Inf(1)
	for a := end; a+15 <= to; a += 15 {
		v := s.window(a, a+15)
		if v.n > 0 {
			if v.mean > low+8 {
				return tau, se
			}
			low = min(low, v.mean)
		}
	}
	fit, ok := fitDecay(t, y)
	if !ok {
		return tau, se
	}
	return schemas.Num(fit.tau), schemas.Num(fit.tauSE)
}

// decayReadings are what a decay is fitted to: y at times t (seconds).
type decayReadings struct{ t, y []float64 }

// decay is HR(t) = rest + fall·exp(-t/tau).
type decay struct{ rest, fall, tau, tauSE, sigma float64 }

// fitDecay fits a decay to y at times t (seconds) by least squares.
func fitDecay(t, y []float64) (decay, bool) {
	if len(t) < 20 {
		return decay{}, false
	}
	problem := optimize.Problem{Func: func(x []float64) float64 {
		if x[0] < math.Log(2) || x[0] > math.Log(2000) {
			return math.Inf(1)
		}
		_, ss := linearDecay(t, y, math.Exp(x[0]))
		return ss
	}}
	settings := &optimize.Settings{Converger: &optimize.FunctionConverge{Absolute: 1e-10, Relative: 1e-12, Iterations: 40}}
	r, err := optimize.Minimize(problem, []float64{math.Log(50)}, settings, &optimize.NelderMead{})
	if err != nil || r == nil {
		return decay{}, false
	}
	d, ss := linearDecay(t, y, math.Exp(r.X[0]))
	if d.tau < 5 || d.tau > 400 || d.fall < 5 {
		return decay{}, false
	}
	d.sigma = math.Sqrt(ss / float64(len(t)-3))
	// Covariance σ²(JᵀJ)⁻¹ with the derivatives by rest, fall and tau.
	jtj := mat.NewSymDense(3, nil)
	for _, v := range t {
		e := math.Exp(-v / d.tau)
		j := [3]float64{1, e, d.fall * e * v / (d.tau * d.tau)}
		for a := range 3 {
			for b := a; b < 3; b++ {
				jtj.SetSym(a, b, jtj.At(a, b)+j[a]*j[b])
			}
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(jtj) {
		return decay{}, false
	}
	var inv mat.SymDense
	if err := chol.InverseTo(&inv); err != nil {
		return decay{}, false
	}
	d.tauSE = d.sigma * math.Sqrt(inv.At(2, 2))
	return d, true
}

// linearDecay solves for rest and fall at a fixed tau.
func linearDecay(t, y []float64, tau float64) (decay, float64) {
	var n, se, see, sy, sey float64
	fall := decaying{tau: tau}
	for i, v := range t {
		e := fall.at(v)
		n++
		se += e
		see += e * e
		sy += y[i]
		sey += e * y[i]
	}
	d := decay{tau: tau}
	det := n*see - se*se
	if det > 1e-12 {
		d.fall = (n*sey - se*sy) / det
	}
	d.rest = (sy - d.fall*se) / n
	ss := 0.0
	fall = decaying{tau: tau}
	for i, v := range t {
		r := y[i] - d.rest - d.fall*fall.at(v)
		ss += r * r
	}
	return d, ss
}

// decaying gives exp(-t/tau) for rising t; equal steps cost a multiplication
// instead of an exponential.
type decaying struct {
	tau, t, e   float64
	step, ratio float64
}

func (d *decaying) at(t float64) float64 {
	step := t - d.t
	switch {
	case d.e == 0:
		d.e = math.Exp(-t / d.tau)
	case step == d.step:
		d.e *= d.ratio
	default:
		d.step, d.ratio = step, math.Exp(-step/d.tau)
		d.e *= d.ratio
	}
	d.t = t
	return d.e
}
