package assess

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"

	"canter.example/schemas"
)

// PredictionInterval returns where the next single value of an unchanged
// athlete falls with probability level:
//
//	mean ± t(df, (1+level)/2) · sd · sqrt(1 + 1/n)
//
// n values made the mean; df are the degrees of freedom behind sd (n-1 when sd
// is their own). It needs n ≥ 1, df > 0 and sd ≥ 0, else it returns NaNs.
// Source: Montgomery & Runger, example 8-8 (FACTS 5g).
func PredictionInterval(mean, sd float64, n int, df, level float64) (low, high float64) {
	if n < 1 || !(df > 0) || !(sd >= 0) {
		return math.NaN(), math.NaN()
	}
	half := tQuantile(df, (1+level)/2) * predictionSE(sd, n)
	return mean - half, mean + half
}

// predictionSE is the standard error of one new value against a mean of n.
func predictionSE(sd float64, n int) float64 { return sd * math.Sqrt(1+1/float64(n)) }

// fullBaseline is half the prediction interval of [level], in SDs, with a full
// baseline: 8 tests, and 27 degrees of freedom behind the SD (7 of its own and
// the most that a squad counts for). t(27, 0.975)·sqrt(1+1/8).
const fullBaseline = 2.1763

// Needed returns the |z| that a comparison must reach where a full baseline
// asks for z: as much more as its prediction interval is wider. A mean of 4
// tests with an SD of 3 degrees of freedom is a worse guess of the next test,
// and z in SDs alone does not know it. Never less than z; z itself when the
// comparison has no interval.
func Needed(c *schemas.Comparison, z float64) float64 {
	mean, ok := c.Mean.Get()
	high, okHigh := c.PredHigh.Get()
	sd, okSD := c.SDUsed.Get()
	if !ok || !okHigh || !okSD || sd <= 0 {
		return z
	}
	return z * max(1, (high-mean)/sd/fullBaseline)
}

// MDC returns the minimal detectable change between two tests,
//
//	te · sqrt(2) · z((1+level)/2)
//
// in te's unit (Weir 2005, J Strength Cond Res 19:231-40; FACTS 2.8).
func MDC(te, level float64) float64 {
	return te * math.Sqrt2 * distuv.UnitNormal.Quantile((1+level)/2)
}

// ProbabilityBeyond returns the probability (0 to 1) that the true change is
// beyond swc in the direction of the observed change:
//
//	T(df, (|change| - swc) / se)
//
// with T the cumulative t distribution and se the standard error of the change,
// every true change being held equally likely beforehand. It needs df > 0 and
// se > 0, else it returns NaN. The form is that of Hopkins 2004, Sportscience
// 8:1-7 (FACTS 2.7 cites the paper; the formula is from memory).
func ProbabilityBeyond(change, swc, se, df float64) float64 {
	if !(df > 0) || !(se > 0) {
		return math.NaN()
	}
	return student(df).CDF((math.Abs(change) - swc) / se)
}

// quantiles keeps what is long to find and asked for again and again: the athletes
// of a squad have baselines of few lengths, and the same degrees of freedom behind
// their SD. It begins anew at quantilesMost, so that years of tests fill no memory.
var quantiles struct {
	sync.Mutex
	of map[quantileOf]float64
}

type quantileOf struct{ df, p float64 }

const quantilesMost = 1024

// tQuantile returns the quantile p of the t distribution.
func tQuantile(df, p float64) float64 {
	key := quantileOf{df, p}
	quantiles.Lock()
	q, ok := quantiles.of[key]
	quantiles.Unlock()
	if ok {
		return q
	}
	q = student(df).Quantile(p)
	quantiles.Lock()
	defer quantiles.Unlock()
	if quantiles.of == nil || len(quantiles.of) >= quantilesMost {
		quantiles.of = map[quantileOf]float64{}
	}
	quantiles.of[key] = q
	return q
}

func student(df float64) distuv.StudentsT { return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df} }
