package schemas_test

import (
	"encoding/json"
	"math"
	"testing"

	"pgregory.net/rapid"

	"canter.example/schemas"
)

// numbers draws numbers, absent ones among them.
func numbers() *rapid.Generator[schemas.Number] {
	return rapid.Custom(func(t *rapid.T) schemas.Number {
		if rapid.Bool().Draw(t, "absent") {
			return schemas.Number{}
		}
		return schemas.Num(rapid.Float64().Draw(t, "value"))
	})
}

func TestNumbersComeBackFromJSONAndSQL(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := numbers().Draw(rt, "n")
		b, err := json.Marshal(n)
		if err != nil {
			rt.Fatal(err)
		}
		if !n.Present() && string(b) != "null" {
			rt.Fatalf("an absent number is %s in JSON", b)
		}
		var got schemas.Number
		if err := json.Unmarshal(b, &got); err != nil || got != n {
			rt.Fatalf("%v came back from JSON %s as %v, %v", n, b, got, err)
		}
		v, err := n.Value()
		if err != nil || (v == nil) == n.Present() {
			rt.Fatalf("%v is %v in SQL, %v", n, v, err)
		}
		got = schemas.Num(1)
		if err := got.Scan(v); err != nil || got != n {
			rt.Fatalf("%v came back from SQL as %v, %v", n, got, err)
		}
		var at *float64
		if v, ok := n.Get(); ok {
			at = &v
		}
		if got := schemas.NumPtr(at); got != n {
			rt.Fatalf("%v came back from a pointer as %v", n, got)
		}
	})
}

func TestWhatIsNoNumberIsAbsent(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if n := schemas.Num(v); n.Present() || n != (schemas.Number{}) {
			t.Errorf("%v is present", v)
		}
	}
	n := schemas.Num(3)
	if err := json.Unmarshal([]byte("null"), &n); err != nil || n.Present() {
		t.Errorf("null gave %v, %v", n, err)
	}
	n = schemas.Num(3)
	if err := n.Scan(nil); err != nil || n.Present() {
		t.Errorf("NULL gave %v, %v", n, err)
	}
}

func TestNumbersAreReadFromWhatDriversGive(t *testing.T) {
	value := 2.5
	var none *float64
	for _, c := range []struct {
		src  any
		want schemas.Number
	}{
		{2.5, schemas.Num(2.5)}, {float32(2.5), schemas.Num(2.5)}, {int64(2), schemas.Num(2)}, {&value, schemas.Num(2.5)},
		{none, schemas.Number{}}, {nil, schemas.Number{}}, {math.NaN(), schemas.Number{}},
	} {
		var n schemas.Number
		if err := n.Scan(c.src); err != nil || n != c.want {
			t.Errorf("%T %v gave %v, %v", c.src, c.src, n, err)
		}
	}
	for _, src := range []any{"2.5", true, []byte("2")} {
		var n schemas.Number
		if err := n.Scan(src); err == nil {
			t.Errorf("%T was read as %v", src, n)
		}
	}
	for _, text := range []string{`"2"`, `{}`, `[1]`, `true`} {
		var n schemas.Number
		if err := json.Unmarshal([]byte(text), &n); err == nil {
			t.Errorf("%s was read as %v", text, n)
		}
	}
}

func TestNumbersInWordsAndSums(t *testing.T) {
	a, none := schemas.Num(-1.25), schemas.Number{}
	for _, c := range []struct{ got, want string }{
		{a.Text(1), "-1.2"}, {none.Text(1), "-"}, {schemas.Num(1.25).Signed(1), "+1.2"}, {a.Signed(0), "−1"}, {schemas.Num(-0.04).Signed(1), "0.0"}, {schemas.Num(-0.06).Signed(1), "−0.1"}, {none.Signed(1), "-"},
		{a.Minus(schemas.Num(1)).Text(2), "-2.25"}, {a.Minus(none).Text(2), "-"}, {none.Minus(a).Text(2), "-"},
		{schemas.Num(a.Or(7)).Text(2), "-1.25"}, {schemas.Num(none.Or(7)).Text(0), "7"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}
