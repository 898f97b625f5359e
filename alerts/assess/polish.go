package assess

import (
	"errors"
	"math"
	"slices"
)

// ErrTable is returned by [MedianPolish] for a table that is empty or ragged,
// or has a row or column without a number.
var ErrTable = errors.New("assess: table must be rectangular with a number in each row and column")

// Polish is a table taken apart: cell = Overall + Rows[i] + Columns[j] +
// Residuals[i][j].
type Polish struct {
	Overall   float64
	Rows      []float64
	Columns   []float64
	Residuals [][]float64
}

// polishRounds and polishEnough are R's defaults: at most 10 rounds, or until
// the sum of absolute residuals changes by less than 1 %.
const (
	polishRounds = 10
	polishEnough = 0.01
)

// MedianPolish fits an additive two-way model by sweeping medians out of rows
// and columns in turn (Tukey 1977; checked against R's medpolish, FACTS 5h).
// Absent cells are NaN and keep out of the medians. A third of a row or column
// may be nonsense without moving the fit much.
func MedianPolish(table [][]float64) (Polish, error) {
	if err := rectangular(table); err != nil {
		return Polish{}, err
	}
	p := Polish{
		Rows: make([]float64, len(table)), Columns: make([]float64, len(table[0])),
		Residuals: make([][]float64, len(table)),
	}
	for i, row := range table {
		p.Residuals[i] = slices.Clone(row)
	}
	old := 0.0
	for range polishRounds {
		p.sweepRows()
		p.sweepColumns()
		sum := p.sum()
		if sum == 0 || math.Abs(sum-old) < polishEnough*sum {
			break
		}
		old = sum
	}
	return p, nil
}

func rectangular(table [][]float64) error {
	if len(table) == 0 || len(table[0]) == 0 {
		return ErrTable
	}
	column := make([]bool, len(table[0]))
	for _, row := range table {
		if len(row) != len(column) {
			return ErrTable
		}
		some := false
		for j, v := range row {
			if math.IsInf(v, 0) {
				return ErrTable
			}
			some = some || !math.IsNaN(v)
			column[j] = column[j] || !math.IsNaN(v)
		}
		if !some {
			return ErrTable
		}
	}
	if slices.Contains(column, false) {
		return ErrTable
	}
	return nil
}

func (p *Polish) sweepRows() {
	for i, row := range p.Residuals {
		m := medianOf(row)
		for j := range row {
			row[j] -= m
		}
		p.Rows[i] += m
	}
	p.Overall += centre(p.Columns)
}

func (p *Polish) sweepColumns() {
	column := make([]float64, len(p.Residuals))
	for j := range p.Columns {
		for i := range p.Residuals {
			column[i] = p.Residuals[i][j]
		}
		m := medianOf(column)
		for i := range p.Residuals {
			p.Residuals[i][j] -= m
		}
		p.Columns[j] += m
	}
	p.Overall += centre(p.Rows)
}

// centre takes the median out of effects and returns it.
func centre(effects []float64) float64 {
	m := medianOf(effects)
	for i := range effects {
		effects[i] -= m
	}
	return m
}

func (p *Polish) sum() float64 {
	var s float64
	for _, row := range p.Residuals {
		for _, v := range row {
			if !math.IsNaN(v) {
				s += math.Abs(v)
			}
		}
	}
	return s
}

// medianOf returns the median of the numbers among values, NaN when none is.
func medianOf(values []float64) float64 {
	var present []float64
	for _, v := range values {
		if !math.IsNaN(v) {
			present = append(present, v)
		}
	}
	slices.Sort(present)
	return median(present)
}
