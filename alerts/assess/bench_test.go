package assess_test

import (
	"fmt"
	"testing"

	"canter.example/alerts/assess"
	"canter.example/schemas"
)

// BenchmarkTest assesses one test among the athlete's others, with and
// without a squad to borrow a spread from.
func BenchmarkTest(b *testing.B) {
	for _, n := range []int{8, 52, 520} {
		var others []schemas.Outcome
		for i := range n {
			others = append(others, test(i-n, "a", 155+float64(i%5)))
		}
		o := test(0, "a", 165)
		b.Run(fmt.Sprintf("others=%d", n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				assess.Test(o, others, assess.Context{}, settings)
			}
		})
	}
}

// BenchmarkPooledSD pools a squad of 30 with a year of weekly tests each.
func BenchmarkPooledSD(b *testing.B) {
	tests := map[string][]schemas.Outcome{}
	for a := range 30 {
		id := fmt.Sprintf("a%02d", a)
		for w := range 52 {
			tests[id] = append(tests[id], test(w, id, 150+float64((a+w)%7)))
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		assess.PooledSD(tests, version, day0.AddDate(1, 0, 0), nil, settings)
	}
}
