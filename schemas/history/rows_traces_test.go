package history

import (
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"canter.example/schemas"
)

// TestNumbersOfTracesAreWrittenAsTheStandardLibraryDoes holds the quick ways to
// the slow one: readings, speeds in mm/s, and anything else.
func TestNumbersOfTracesAreWrittenAsTheStandardLibraryDoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.OneOf(
			rapid.Map(rapid.IntRange(-300, 300), func(n int) float64 { return float64(n) }),
			rapid.Map(rapid.IntRange(-2_000_000, 2_000_000), func(n int) float64 { return float64(n) / 1000 }),
			rapid.Float64(), rapid.Just(math.Copysign(0, -1)),
			rapid.Map(rapid.Float32(), func(v float32) float64 { return float64(v) }),
		).Draw(t, "v")
		want := ","
		if _, ok := schemas.Num(v).Get(); ok {
			want += strconv.FormatFloat(v, 'g', -1, 64)
		} else {
			want += "null"
		}
		if got := string(appendNumber(nil, schemas.Num(v))); got != want {
			t.Fatalf("%v is written as %s, want %s", v, got, want)
		}
	})
}
