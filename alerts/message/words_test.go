package message

import (
	"testing"

	"canter.example/schemas"
)

func TestHowLikelyIsNeverRoundedUp(t *testing.T) {
	for p, want := range map[float64]string{
		0.1:    "unlikely more than trivial (10 %)",
		0.29:   "possibly more than trivial (29 %)", // 100 × 0.29 is a little below 29 in binary
		0.949:  "likely more than trivial (94 %)",
		0.99:   "very likely more than trivial (99 %)",
		0.9901: "very likely more than trivial (over 99 %)",
		0.995:  "almost certainly more than trivial (over 99 %)",
		1:      "almost certainly more than trivial (over 99 %)",
	} {
		if got := likely(schemas.Num(p)); got != want {
			t.Errorf("%v: %q, want %q", p, got, want)
		}
	}
	if got := likely(schemas.Number{}); got != "" {
		t.Errorf("of nothing known: %q", got)
	}
}
