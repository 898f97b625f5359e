package history

import (
	"fmt"

	"github.com/ClickHouse/clickhouse-go/v2/lib/driver"
)

// appendColumns adds rows to a block. Many of them go column by column: that
// spares the client to look at the kind of each value.
func appendColumns(batch driver.Batch, rows [][]any) error {
	const many = 32
	if len(rows) < many {
		for _, r := range rows {
			if err := batch.Append(r...); err != nil {
				return err
			}
		}
		return nil
	}
	for j, v := range rows[0] {
		var err error
		switch v.(type) {
		case string:
			err = appendColumn[string](batch, rows, j)
		case float64:
			err = appendColumn[float64](batch, rows, j)
		case int64:
			err = appendColumn[int64](batch, rows, j)
		case uint64:
			err = appendColumn[uint64](batch, rows, j)
		default: // arrays, and what may be NULL
			column := batch.Column(j)
			for _, r := range rows {
				if err = column.AppendRow(r[j]); err != nil {
					break
				}
			}
		}
		if err != nil {
			return fmt.Errorf("column %d: %w", j, err)
		}
	}
	return nil
}

func appendColumn[T any](batch driver.Batch, rows [][]any, j int) error {
	values := make([]T, len(rows))
	for i, r := range rows {
		v, ok := r[j].(T)
		if !ok {
			return fmt.Errorf("row %d holds a %T, the first a %T", i, r[j], values[0])
		}
		values[i] = v
	}
	return batch.Column(j).Append(values)
}
