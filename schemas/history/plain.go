package history

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"time"
)

// plain turns a value as a driver gives it into one of the kinds that
// [Rows.Values] promises.
func plain(v any) any {
	switch v := v.(type) {
	case nil, bool, int64, uint64, string:
		return v
	case float64:
		return finite(v)
	case *float64: // a number that may be absent
		if v == nil {
			return nil
		}
		return finite(*v)
	case []byte:
		return string(v)
	case time.Time:
		if v.Nanosecond() == 0 {
			return v.UTC().Format(time.RFC3339)
		}
		return v.UTC().Format(time.RFC3339Nano)
	}
	r := reflect.ValueOf(v)
	switch r.Kind() {
	case reflect.Pointer:
		if r.IsNil() {
			return nil
		}
		return plain(r.Elem().Interface())
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32:
		return r.Int()
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32:
		return r.Uint()
	case reflect.Float32:
		return finite(r.Float())
	case reflect.String:
		return r.String()
	default:
	}
	if s, ok := v.(fmt.Stringer); ok {
		return s.String()
	}
	if b, err := json.Marshal(v); err == nil {
		return string(b)
	}
	return fmt.Sprint(v)
}

// finite gives numbers that are none, as a division by zero makes them in
// ClickHouse, the meaning they have in SQLite: nothing.
func finite(f float64) any {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return nil
	}
	return f
}
