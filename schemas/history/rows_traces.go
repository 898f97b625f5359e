package history

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"

	"canter.example/schemas"
)

// appendTrace appends the JSON of a trace window as SQLite keeps it: an array
// of [second, raw, clean, speed] or [second, raw, clean, speed, dropped].
func appendTrace(b []byte, ts []schemas.TraceSecond) ([]byte, error) {
	b = append(b, '[')
	for i := range ts {
		t := &ts[i]
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, '[')
		b = appendWhole(b, int64(t.Second))
		raw := len(b)
		b = appendNumber(b, t.Raw)
		if t.Clean == t.Raw {
			b = append(b, b[raw:]...) // as most are
		} else {
			b = appendNumber(b, t.Clean)
		}
		b = appendNumber(b, t.Speed)
		if t.Dropped != "" {
			text, err := json.Marshal(t.Dropped)
			if err != nil {
				return b, err
			}
			b = append(append(b, ','), text...)
		}
		b = append(b, ']')
	}
	return append(b, ']'), nil
}

func appendNumber(b []byte, n schemas.Number) []byte {
	v, ok := n.Get()
	if !ok {
		return append(b, ",null"...)
	}
	b = append(b, ',')
	if whole := int64(v); float64(whole) == v && -1e6 < v && v < 1e6 && (whole != 0 || !math.Signbit(v)) {
		return appendWhole(b, whole) // what follows says the same, in five times the time
	}
	if thousandths := math.Round(v * 1000); thousandths/1000 == v && thousandths != 0 && math.Abs(thousandths) < 1e9 {
		return appendThousandths(b, int64(thousandths)) // as a device's speeds are
	}
	return strconv.AppendFloat(b, v, 'g', -1, 64)
}

// appendWhole appends a whole number: seconds and readings have up to three digits,
// of which the standard library makes more ado.
func appendWhole(b []byte, n int64) []byte {
	switch {
	case n < 0 || n > 999:
		return strconv.AppendInt(b, n, 10)
	case n > 99:
		return append(b, byte('0'+n/100), byte('0'+n/10%10), byte('0'+n%10)) //nolint:gosec // digits
	case n > 9:
		return append(b, byte('0'+n/10), byte('0'+n%10)) //nolint:gosec // digits
	default:
		return append(b, byte('0'+n)) //nolint:gosec // a digit
	}
}

// appendThousandths appends n/1000, which is no whole number, as a decimal.
func appendThousandths(b []byte, n int64) []byte {
	if n < 0 {
		b, n = append(b, '-'), -n
	}
	b = append(appendWhole(b, n/1000), '.')
	for n, unit := n%1000, int64(100); n > 0; unit /= 10 {
		b = append(b, byte('0'+n/unit)) //nolint:gosec // a digit
		n %= unit
	}
	return b
}

// decodeTrace is the inverse of appendTrace.
func decodeTrace(b []byte) ([]schemas.TraceSecond, error) {
	var rows [][]any
	if err := json.Unmarshal(b, &rows); err != nil {
		return nil, err
	}
	if len(rows) == 0 {
		return nil, nil
	}
	ts := make([]schemas.TraceSecond, len(rows))
	for i, r := range rows {
		if len(r) < 4 {
			return nil, fmt.Errorf("second %d of the trace has %d fields, want 4 or 5", i, len(r))
		}
		second, ok := r[0].(float64)
		if !ok {
			return nil, fmt.Errorf("second %d of the trace has no time", i)
		}
		t := schemas.TraceSecond{Second: int(second), Raw: number(r[1]), Clean: number(r[2]), Speed: number(r[3])}
		if len(r) > 4 {
			t.Dropped, _ = r[4].(string)
		}
		ts[i] = t
	}
	return ts, nil
}

func number(v any) schemas.Number {
	if f, ok := v.(float64); ok {
		return schemas.Num(f)
	}
	return schemas.Number{}
}
