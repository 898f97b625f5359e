package history

import (
	"context"
	"fmt"

	"github.com/ClickHouse/clickhouse-go/v2/lib/driver"
)

// block is rows on their way to ClickHouse, column by column as the server takes
// them.
type block struct {
	columns []column
	expect  int // rows to come, to have room for
}

// column holds the values of one column in the slice of its type; the others are
// nil. A column of arrays holds all their values in a row, and where each ends.
type column struct {
	texts  []string
	floats []float64
	ints   []int64
	uints  []uint64
	small  []int32
	lists  [][]string // arrays that are there already

	array bool
	ends  []int
}

// part returns the values of some places, as the client takes them.
func (c *column) part(from, to int) any {
	switch {
	case c.texts != nil:
		return c.texts[from:to]
	case c.floats != nil:
		return c.floats[from:to]
	case c.ints != nil:
		return c.ints[from:to]
	case c.uints != nil:
		return c.uints[from:to]
	case c.small != nil:
		return c.small[from:to]
	default:
		return []string(nil) // of no row there was a value
	}
}

// values is how many there are.
func (c *column) values() int {
	return len(c.texts) + len(c.floats) + len(c.ints) + len(c.uints) + len(c.small) + len(c.lists)
}

// rows is how many rows the block has.
func (b *block) rows() int {
	if len(b.columns) == 0 {
		return 0
	}
	if c := &b.columns[0]; c.array {
		return len(c.ends)
	}
	return b.columns[0].values()
}

// endArrays ends the arrays of a row in the columns from this one on; a row may
// have had no values in them.
func (b *block) endArrays(from, n int) {
	for len(b.columns) < from+n {
		b.columns = append(b.columns, column{})
	}
	for j := from; j < from+n; j++ {
		c := &b.columns[j]
		c.array = true
		c.ends = append(c.ends, c.values())
	}
}

// flushRows is how many rows go to the server at a time: what the client and the
// server then work on stays in the processor's caches. The server gathers them
// (min_insert_block_size_rows, a million) before it writes them as one part.
const flushRows = 8192

// insertBlock writes the rows of a block: all of them or, when it fails, none.
func (s *clickhouseStore) insertBlock(ctx context.Context, table string, names []string, b *block) error {
	n := b.rows()
	if n == 0 {
		return nil
	}
	if len(names) != len(b.columns) {
		return fmt.Errorf("%s: %d columns were made, there are %d", table, len(b.columns), len(names))
	}
	once := flushRows
	if s.cluster != nil {
		once = n // a distributed table would write each as a part of its own
	}
	return s.send(ctx, table, names, func(batch driver.Batch) error {
		for from := 0; from < n; from += once {
			if from > 0 {
				if err := batch.Flush(); err != nil {
					return err
				}
			}
			for j := range b.columns {
				if err := b.columns[j].into(batch.Column(j), from, min(from+once, n)); err != nil {
					return fmt.Errorf("column %s: %w", names[j], err)
				}
			}
		}
		return nil
	})
}

// into hands over the values of rows: those of a column at once, arrays one by one.
func (c *column) into(to driver.BatchColumn, from, end int) error {
	switch {
	case c.lists != nil:
		for _, l := range c.lists[from:end] {
			if err := to.AppendRow(l); err != nil {
				return err
			}
		}
		return nil
	case !c.array:
		return to.Append(c.part(from, end))
	}
	at := 0
	if from > 0 {
		at = c.ends[from-1]
	}
	for _, end := range c.ends[from:end] {
		if err := to.AppendRow(c.part(at, end)); err != nil {
			return err
		}
		at = end
	}
	return nil
}
