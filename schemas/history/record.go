package history

import (
	"math"
	"time"

	"canter.example/schemas"
)

// record takes the values of one row, one after the other, in the order of the
// table's columns. What puts a row says it once for both engines: for SQLite the
// values go to a statement, for ClickHouse to the ends of typed columns, without
// a box around each.
type record struct {
	at     clock // SQLite: how it keeps a readable time
	values []any

	block *block // ClickHouse; nil for SQLite, or when only the digest is wanted
	next  int    // the column of block that is next

	digest *digest // of the values, without readable times; nil for none
}

// forSQLite returns a record whose values become those of a statement.
func forSQLite(c columns, at clock) *record {
	return &record{at: at, values: make([]any, 0, len(c.write)+1)}
}

// begin begins a row at the block's first column.
func (r *record) begin(c columns) {
	r.next = 0
	if r.digest != nil {
		r.digest.number('r', uint64(len(c.plain)))
	}
}

// column returns the block's next column.
func (r *record) column() *column {
	if r.next == len(r.block.columns) {
		r.block.columns = append(r.block.columns, column{})
	}
	r.next++
	return &r.block.columns[r.next-1]
}

// put adds a value to a column.
func put[T any](r *record, to *[]T, v T) {
	if *to == nil {
		*to = make([]T, 0, r.block.expect)
	}
	*to = append(*to, v)
}

func (r *record) text(vs ...string) {
	for _, v := range vs {
		if r.at != nil {
			r.values = append(r.values, v)
			continue
		}
		if r.digest != nil {
			r.digest.text(v)
		}
		if r.block != nil {
			put(r, &r.column().texts, v)
		}
	}
}

func (r *record) int(vs ...int64) {
	for _, v := range vs {
		if r.at != nil {
			r.values = append(r.values, v)
			continue
		}
		if r.digest != nil {
			r.digest.number('i', uint64(v))
		}
		if r.block != nil {
			put(r, &r.column().ints, v)
		}
	}
}

func (r *record) uint(v uint64) {
	if r.at != nil {
		r.values = append(r.values, v)
		return
	}
	if r.digest != nil {
		r.digest.number('u', v)
	}
	if r.block != nil {
		put(r, &r.column().uints, v)
	}
}

func (r *record) float(vs ...float64) {
	for _, v := range vs {
		if r.at != nil {
			r.values = append(r.values, v)
			continue
		}
		if r.digest != nil {
			r.digest.number('f', math.Float64bits(v))
		}
		if r.block != nil {
			put(r, &r.column().floats, v)
		}
	}
}

// number puts numbers that may be absent: NULL in SQLite, NaN in ClickHouse,
// which [schemas.Num] reads as absent.
func (r *record) number(vs ...schemas.Number) {
	for _, v := range vs {
		if r.at != nil {
			r.values = append(r.values, sqliteNumber(v))
			continue
		}
		if r.digest != nil {
			r.digest.optional(v)
		}
		if r.block != nil {
			put(r, &r.column().floats, v.Or(math.NaN()))
		}
	}
}

// sqliteNumber is a number as a statement takes it: NULL when absent.
func sqliteNumber(n schemas.Number) any {
	if v, ok := n.Get(); ok {
		return v
	}
	return nil
}

// time puts an instant: SQLite has a readable twin before the milliseconds.
func (r *record) time(t time.Time) {
	if r.at != nil {
		r.values = append(r.values, r.at(t))
	}
	r.int(millis(t))
}

// optionalTime is time for one that may be zero: NULL in SQLite, in ClickHouse
// the milliseconds of the zero time.
func (r *record) optionalTime(t time.Time) {
	if r.at != nil && t.IsZero() {
		r.values = append(r.values, nil, nil)
		return
	}
	r.time(t)
}
