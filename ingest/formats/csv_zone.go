package formats

import (
	"fmt"
	"slices"
	"time"
)

// wallClock turns clock times of a zone into instants. On the day that summer
// time begins some do not exist, on the day it ends some exist twice.
type wallClock struct {
	zone *time.Location
	// Between low and high, wall times as if UTC, the offset is known.
	low, high, offset int64
}

// sureMargin keeps the known range clear of both clock changes around it.
const sureMargin = 3 * int64(time.Hour)

// instants returns the one or two instants with this wall time, earlier first;
// n is 0 when there is none.
func (w *wallClock) instants(wall int64) (first, second int64, n int) {
	if wall >= w.low && wall < w.high {
		return wall - w.offset, 0, 1
	}
	const day = int64(24 * time.Hour)
	before, after := w.offsetAt(wall-day), w.offsetAt(wall+day)
	a, b := wall-before, wall-after
	aOK, bOK := w.offsetAt(a) == before, w.offsetAt(b) == after
	switch {
	case before == after:
		w.learn(a, before)
		return a, 0, 1
	case aOK && bOK:
		return min(a, b), max(a, b), 2
	case aOK:
		return a, 0, 1
	case bOK:
		return b, 0, 1
	}
	return 0, 0, 0
}

func (w *wallClock) offsetAt(ns int64) int64 {
	_, s := time.Unix(0, ns).In(w.zone).Zone()
	return int64(s) * int64(time.Second)
}

// learn widens the known range to all that has this offset around an instant.
func (w *wallClock) learn(ns, offset int64) {
	start, end := time.Unix(0, ns).In(w.zone).ZoneBounds()
	w.offset = offset
	w.low, w.high = minTime.UnixNano(), maxTime.UnixNano()
	if plausibleTime(start) {
		w.low = start.UnixNano() + offset + sureMargin
	}
	if plausibleTime(end) {
		w.high = end.UnixNano() + offset - sureMargin
	}
}

// resolve turns the wall times of one trace, in place, into instants. Of two
// instants it takes the one nearer to its neighbour: time runs on. It returns
// how many had two, or the index of the first that has none.
func (w *wallClock) resolve(walls []int64) (twice int, gap int) {
	type choice struct{ a, b int64 }
	var open []choice // at the start, before anything is certain
	known := false
	var last int64
	nearer := func(c choice, to int64) int64 {
		if abs(c.b-to) < abs(c.a-to) {
			return c.b
		}
		return c.a
	}
	for i, wall := range walls {
		a, b, n := w.instants(wall)
		switch {
		case n == 0:
			return twice, i
		case n == 2:
			twice++
			if !known {
				open = append(open, choice{a, b})
				continue
			}
			a = nearer(choice{a, b}, last)
		case !known && len(open) > 0:
			// Back from the first certain time to the start.
			next := a
			for k, c := range slices.Backward(open) {
				next = nearer(c, next)
				walls[i-len(open)+k] = next
			}
			open = open[:0]
		}
		known = true
		walls[i] = a
		last = a
	}
	if !known { // all of it lies in the repeated hour
		for k, c := range open {
			if k == 0 {
				last = c.a
			}
			last = nearer(c, last)
			walls[k] = last
		}
	}
	return twice, -1
}

func abs(n int64) int64 {
	if n < 0 {
		return -n
	}
	return n
}

// gapError says that a clock time does not exist.
func (w *wallClock) gapError(wall int64, line int) *Error {
	return problem(ErrTime, atLine(line),
		fmt.Sprintf("%s did not exist in %s: the clocks went forward over it", time.Unix(0, wall).UTC().Format("2006-01-02 15:04:05"), w.zone),
		"Correct the device's clock or the zone, or export times with their zone")
}
