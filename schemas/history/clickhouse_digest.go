package history

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"

	"canter.example/schemas"
)

// digest names a content: the same content has the same name in every process.
// It is a hash of the values one after the other, each with its kind and length.
type digest struct {
	buf []byte
}

func newDigest() *digest { return &digest{buf: make([]byte, 0, 1024)} }

// add adds a row of few kinds of values.
func (d *digest) add(row []any) error {
	d.number('r', uint64(len(row)))
	for _, v := range row {
		switch v := v.(type) {
		case nil:
			d.buf = append(d.buf, 'n')
		case string:
			d.text(v)
		case int64:
			d.number('i', uint64(v))
		case schemas.Number:
			d.optional(v)
		default:
			return fmt.Errorf("%w: no digest of a %T", ErrInvalid, v)
		}
	}
	return nil
}

// window adds a trace window.
func (d *digest) window(ts []schemas.TraceSecond) {
	d.number('w', uint64(len(ts)))
	for i := range ts {
		t := &ts[i]
		d.number('i', uint64(int64(t.Second)))
		d.optional(t.Raw)
		d.optional(t.Clean)
		d.optional(t.Speed)
		d.text(t.Dropped)
	}
}

func (d *digest) number(kind byte, v uint64) {
	d.buf = binary.LittleEndian.AppendUint64(append(d.buf, kind), v)
}

func (d *digest) text(v string) {
	d.number('s', uint64(len(v)))
	d.buf = append(d.buf, v...)
}

func (d *digest) optional(n schemas.Number) {
	if v, ok := n.Get(); ok {
		d.number('f', math.Float64bits(v))
		return
	}
	d.buf = append(d.buf, 'n')
}

// sum names what was added, and begins anew.
func (d *digest) sum() uint64 {
	sum := sha256.Sum256(d.buf)
	d.buf = d.buf[:0]
	return binary.BigEndian.Uint64(sum[:])
}
