package engine

import (
	"math"

	"canter.example/schemas"
)

// leastMoved: a repeated value that heart rate leaves by less (bpm) was right.
const leastMoved = 2

// dropStuck marks values that a sensor repeated. How long a value may repeat
// depends on the trace: with a share p of equal neighbours among the rest, a
// run of n has probability p^n. A trace without noise (its changes hardly ever
// reverse) may stand still for minutes, so there only a run that ends in a jump
// counts as stuck.
func (s *series) dropStuck() {
	limit, noiseless, ok := s.longestStill()
	if !ok {
		return
	}
	leap := max(6, 4*s.wiggle) + steepest*s.interval
	for _, r := range s.still {
		i, j, n := r.from, r.to, float64(r.to-r.from)
		jump := 0.0
		if j < len(s.hr) && s.why[j] == kept && s.at[j]-s.at[j-1] <= bridged {
			jump = math.Abs(s.hr[j] - s.hr[i])
		}
		// What goes on as it was had not stuck, or it did no harm: a steady run's
		// heart rate may keep its value for long.
		moved := jump == 0 || jump >= leastMoved
		if n >= limit && !noiseless && (moved || n >= 3*limit) || jump > leap {
			for k := i + 1; k < j; k++ {
				s.why[k] = stuck
			}
			if jump > leap {
				// Stuck, or still and then a slip: the level after is in doubt.
				s.steps = append(s.steps, step{at: s.at[j], size: s.hr[j] - s.hr[i]})
			}
		}
	}
}

// stillRun is a run of samples of one value, from ≤ i < to.
type stillRun struct{ from, to int }

// longestStill returns how many samples may have the same value by chance, at
// least 20 s of them: a longer run is to come once in 100,000 traces. noiseless
// traces hardly ever go up and down. ok is false where no two samples tell. The
// runs of 10 s and 5 samples or more are left in still.
func (s *series) longestStill() (limit float64, noiseless, ok bool) {
	equal, changes, reversals := 0, 0, 0
	run := 0      // samples before this one with its value
	rose := 0     // whether the last change was a rise
	reversal := 0 // whether a change the other way would be one: not the first
	least := max(5, int(math.Ceil(10/s.interval)))
	s.still = s.still[:0]
	// Whether two readings are the same, and which one is the higher, is as good as
	// chance: the counts are summed up without a branch on them.
	for i := 1; i < len(s.hr); i++ {
		before, here := s.hr[i-1], s.hr[i]
		both := oneIf(s.why[i-1]|s.why[i] == kept)
		same := both & oneIf(before == here)
		if run+1 >= least && same == 0 {
			s.still = append(s.still, stillRun{from: i - 1 - run, to: i})
		}
		run = (run + 1) * same
		equal += same & oneIf(run <= 20) // runs past 20 are the ones under suspicion
		other, rises := both-same, oneIf(here > before)
		changes += other
		reversals += other & reversal & (rises ^ rose)
		rose ^= (rises ^ rose) & other
		reversal |= other
	}
	if n := len(s.hr); run+1 >= least {
		s.still = append(s.still, stillRun{from: n - 1 - run, to: n})
	}
	pairs := equal + changes
	if pairs == 0 {
		return 0, false, false
	}
	limit = 20 / s.interval
	if p := float64(equal) / float64(pairs); p > 0 {
		limit = max(limit, math.Log(1e-5/float64(len(s.hr)))/math.Log(min(p, 0.995)))
	}
	return max(limit, 6), float64(reversals) < 0.08*float64(changes), true
}

// oneIf is 1 for true, without a branch.
func oneIf(b bool) int {
	if b {
		return 1
	}
	return 0
}

// leastLock: seconds for which heart rate must follow the step rate.
const leastLock = 12

// dropCadence marks heart rates that follow the step rate. A heart rate may
// equal the step rate by chance, so being near it is not enough: it must have
// jumped there or away, or follow the step rate's own small changes.
func (s *series) dropCadence() {
	if s.cadences == 0 {
		return
	}
	near := func(i int) bool {
		return s.why[i] == kept && s.have[i]&schemas.HasCadence != 0 && s.cad[i] > 100 && math.Abs(s.hr[i]-float64(s.cad[i])) <= 3
	}
	for i := 0; i < len(s.hr); {
		if !near(i) {
			i++
			continue
		}
		// A run goes on over short misses.
		j, lastNear, hits := i+1, i, 1
		for j < len(s.hr) && s.at[j]-s.at[lastNear] <= 4*max(1, s.interval) {
			if near(j) {
				lastNear = j
				hits++
			}
			j++
		}
		end := lastNear + 1
		switch {
		case s.at[lastNear]-s.at[i] < leastLock:
		case float64(hits) >= 0.8*float64(end-i) && (s.jumpsAt(i) || s.jumpsAt(end) || s.follows(i, end)):
			s.lock(i, end)
		default:
			s.dropFollowing(i, end)
		}
		i = end
	}
}

// lock marks what is left of samples i to j.
func (s *series) lock(i, j int) {
	for k := i; k < j; k++ {
		if s.why[k] == kept {
			s.why[k] = onCadence
		}
	}
}

// jumpsAt reports whether the level within 6 s before sample i and from i on
// differ by more than heart rate can change in that time.
func (s *series) jumpsAt(i int) bool {
	if i <= 0 || i >= len(s.hr) {
		return false
	}
	before, nb, after, na := 0.0, 0, 0.0, 0
	for k := i - 1; k >= max(0, i-mostLooked) && s.at[i]-s.at[k] <= 4*max(1, s.interval); k-- {
		if s.why[k] == kept || s.why[k] == onCadence {
			before += s.hr[k]
			nb++
		}
	}
	for k := i; k < min(len(s.hr), i+mostLooked) && s.at[k]-s.at[i] < 4*max(1, s.interval); k++ {
		if s.why[k] == kept {
			after += s.hr[k]
			na++
		}
	}
	if nb == 0 || na == 0 {
		return false
	}
	return math.Abs(before/float64(nb)-after/float64(na)) > 10+8*(max(1, s.interval)-1)
}

// follows reports whether heart rate repeats the step rate's changes from
// sample to sample: then their difference changes less than the step rate does.
// For two quantities that know nothing of each other it changes more.
func (s *series) follows(i, j int) bool {
	var n, dc, dd float64
	for k := i + 1; k < j; k++ {
		if s.why[k] != kept || s.why[k-1] != kept || s.cad[k] <= 0 || s.cad[k-1] <= 0 {
			continue
		}
		c := float64(s.cad[k] - s.cad[k-1])
		d := s.hr[k] - s.hr[k-1] - c
		n++
		dc += c * c
		dd += d * d
	}
	return n >= leastFollow && dc > 0.4*n && dd < 0.6*dc
}

// surelyFollows: standard errors of Fisher's transform of the correlation from
// which on changes are the same ones; by chance 3 in 100,000 are.
const surelyFollows = 4.0

// dropFollowing marks those stretches of samples i to j that repeat the step
// rate's changes, where not all of it does: heart rate may come near the step
// rate by itself, and the sensor lock on to it there without a jump. The surest
// stretch is taken out, then the surest one of what is left, a few times.
func (s *series) dropFollowing(i, j int) {
	const mostTimes = 8
	sums := append(s.sums[:0], [4]float64{}) // of changes, and of their products up to each
	for k := i + 1; k < j; k++ {
		at := sums[len(sums)-1]
		if s.why[k] == kept && s.why[k-1] == kept && s.cad[k] > 0 && s.cad[k-1] > 0 {
			h, c := s.hr[k]-s.hr[k-1], float64(s.cad[k]-s.cad[k-1])
			at = [4]float64{at[0] + 1, at[1] + h*h, at[2] + c*c, at[3] + h*c}
		}
		sums = append(sums, at)
	}
	s.sums = sums
	left := [mostTimes + 1][2]int{{0, len(sums)}}
	for n, done := 1, 0; n > 0 && done < mostTimes; {
		n--
		part := left[n]
		a, b, z := s.surestFollowing(sums[part[0]:part[1]], s.at[i+part[0]:])
		if z < surelyFollows {
			continue
		}
		a, b = a+part[0], b+part[0]
		s.lock(i+a, i+b+1)
		left[n], left[n+1] = [2]int{part[0], a + 1}, [2]int{b, part[1]}
		n, done = n+2, done+1
	}
}

// surestFollowing finds the stretch in which heart rate's changes go with the
// step rate's most surely, among those of leastFollow changes, half as many again,
// and so on: samples a to b, and by how many standard errors.
func (s *series) surestFollowing(sums [][4]float64, at []float64) (a, b int, z float64) {
	for size := leastFollow; size < len(sums); size += size / 2 {
		for k := 0; k+size < len(sums); k++ {
			p, q := &sums[k], &sums[k+size]
			n, hh, cc, hc := q[0]-p[0], q[1]-p[1], q[2]-p[2], q[3]-p[3]
			if n < leastFollow || cc <= 0.4*n || hc <= 0 || at[k+size]-at[k] < leastLock {
				continue
			}
			if v := math.Atanh(min(hc/math.Sqrt(hh*cc), 0.999)) * math.Sqrt(n-3); v > z {
				a, b, z = k, k+size, v
			}
		}
	}
	return a, b, z
}

// leastFollow changes tell whether heart rate follows the step rate.
const leastFollow = 10
