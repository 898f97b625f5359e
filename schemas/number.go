package schemas

import (
	"database/sql/driver"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Number is a measurement that may be absent. The zero value is absent, so a
// number that nobody computed can't be mistaken for a measured zero. In JSON
// an absent number is null; in a database it is NULL.
type Number struct {
	value   float64
	present bool
}

// Num returns v as a present number. NaN and infinities are absent: no
// outcome of a test is either.
func Num(v float64) Number {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Number{}
	}
	return Number{value: v, present: true}
}

// Get returns the value and whether it is present.
func (n Number) Get() (float64, bool) { return n.value, n.present }

// Present reports whether there is a value.
func (n Number) Present() bool { return n.present }

// Or returns the value, or def when it is absent.
func (n Number) Or(def float64) float64 {
	if n.present {
		return n.value
	}
	return def
}

// NumPtr returns *p as a number, absent when p is nil.
func NumPtr(p *float64) Number {
	if p == nil {
		return Number{}
	}
	return Num(*p)
}

// Minus returns n - m, absent when either is.
func (n Number) Minus(m Number) Number {
	if !n.present || !m.present {
		return Number{}
	}
	return Num(n.value - m.value)
}

// Text formats the value with the given decimals, "-" when absent.
func (n Number) Text(decimals int) string {
	if !n.present {
		return "-"
	}
	return strconv.FormatFloat(n.value, 'f', decimals, 64)
}

// Signed formats a change for people: with a plus or a true minus sign (U+2212)
// and the given decimals, without a sign when it rounds to nothing, "-" when
// absent.
func (n Number) Signed(decimals int) string {
	if !n.present {
		return "-"
	}
	digits := strconv.FormatFloat(math.Abs(n.value), 'f', decimals, 64)
	switch {
	case strings.Trim(digits, "0.") == "":
		return digits
	case n.value < 0:
		return "−" + digits
	default:
		return "+" + digits
	}
}

// MarshalJSON writes the value, or null when absent.
func (n Number) MarshalJSON() ([]byte, error) {
	if !n.present {
		return []byte("null"), nil
	}
	return json.Marshal(n.value)
}

// UnmarshalJSON reads a JSON number or null.
func (n *Number) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*n = Number{}
		return nil
	}
	// Not json.Unmarshal, which looks at b twice: a history read decodes many
	// of these.
	v, err := strconv.ParseFloat(string(b), 64)
	if err != nil {
		return fmt.Errorf("schemas: can't read %.40s as a number", b)
	}
	*n = Num(v)
	return nil
}

// Value implements driver.Valuer: NULL when absent.
func (n Number) Value() (driver.Value, error) {
	if !n.present {
		return nil, nil
	}
	return n.value, nil
}

// Scan implements sql.Scanner for floats, integers and NULL.
func (n *Number) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*n = Number{}
	case float64:
		*n = Num(v)
	case float32:
		*n = Num(float64(v))
	case int64:
		*n = Num(float64(v))
	case *float64:
		*n = NumPtr(v)
	default:
		return fmt.Errorf("schemas: can't read a %T as a number", src)
	}
	return nil
}

// Count writes a number of things with their noun: "1 test", "8 tests".
func Count(n int, noun string) string {
	if n != 1 {
		noun += "s"
	}
	return strconv.Itoa(n) + " " + noun
}
