package formats

import (
	"encoding/binary"
	"errors"
	"io"

	"github.com/muktihari/fit/profile/basetype"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/profile/untyped/mesgnum"
	"github.com/muktihari/fit/proto"
)

// fitField is where a field that is read lies in a message.
type fitField struct {
	num      byte
	at, size int
	base     *proto.FieldBase // its type in the profile
}

// fitDefinition says how the messages of one local number are laid out.
type fitDefinition struct {
	mesg   typedef.MesgNum
	arch   byte
	wanted bool       // a message that is read
	fields []fitField // those that are read, in the file's order
	// stamp is the field of the time, whatever the message; its size is 0 where there is none.
	stamp fitField
}

// fitMessages cuts a sequence into messages where it lies, and reads those that
// matter. The library's reader of fields makes values of all there are, of which a
// trace needs a few: that was four fifths of the time. Its reader of messages, that
// a test holds this one to, copies each one twice: that was another fifth of what
// was left.
type fitMessages struct {
	to          *fitCollector
	definitions [proto.LocalMesgNumMask + 1]fitDefinition
	fields      []proto.Field // memory of one message
	// The time that compressed headers count on from, and its last five bits as last given.
	timestamp uint32
	offset    byte
}

// compressedTime is the field that a compressed header stands for.
var compressedTime = &proto.FieldBase{Num: proto.FieldNumTimestamp}

var (
	errFITBaseType   = errors.New("invalid basetype")
	errFITDefinition = errors.New("message definition missing")
)

func (m *fitMessages) begin(to *fitCollector) {
	m.to, m.timestamp, m.offset = to, 0, 0
}

// cut takes the messages of a sequence: size bytes of b, with their checksum behind
// them. It returns where it stopped, and why: nil at the end,
// [io.ErrUnexpectedEOF] where b ends before.
func (m *fitMessages) cut(b []byte, size int64) (at int, err error) {
	var lengths [proto.LocalMesgNumMask + 1]int // of messages, 0 for those without a definition
	for int64(at) < size {
		rest := b[at:]
		if len(rest) == 0 {
			return at, io.ErrUnexpectedEOF
		}
		if head := rest[0]; head&(proto.MesgCompressedHeaderMask|proto.MesgDefinitionMask) == proto.MesgDefinitionMask {
			d, ok := cutFITDefinition(rest)
			if !ok {
				return at, io.ErrUnexpectedEOF
			}
			lengths[head&proto.LocalMesgNumMask] = d.message
			if !m.define(rest[:d.fields], rest[d.developer:d.end]) {
				return at + d.fields, errFITBaseType
			}
			at += d.end
			continue
		}
		n := lengths[proto.LocalMesgNum(rest[0])]
		if n == 0 {
			return at + 1, errFITDefinition
		}
		if n > len(rest) {
			return at, io.ErrUnexpectedEOF
		}
		m.message(rest[:n:n])
		if m.to.stopped != nil {
			return at, m.to.stopped
		}
		at += n
	}
	if len(b)-at < 2 {
		return at, io.ErrUnexpectedEOF
	}
	return at, nil
}

// fitCut says where the parts of a definition lie that begins at 0.
type fitCut struct {
	fields    int // end of the fields; six bytes are before the first
	developer int // begin of the developer's fields
	end       int
	message   int // bytes of a message laid out so, its header included
}

// cutFITDefinition finds the parts of the definition that b begins with; false where
// b ends inside it.
func cutFITDefinition(b []byte) (c fitCut, ok bool) {
	const fixed = 6 // header, a reserved byte, byte order, number of the message, of fields
	if len(b) < fixed {
		return c, false
	}
	c.message = 1
	sizes := func(from, fields int) (to int, ok bool) {
		if to = from + 3*fields; to > len(b) {
			return to, false
		}
		for at := from; at < to; at += 3 {
			c.message += int(b[at+1])
		}
		return to, true
	}
	if c.fields, ok = sizes(fixed, int(b[5])); !ok {
		return c, false
	}
	c.developer, c.end = c.fields, c.fields
	if b[0]&proto.DevDataMask == 0 {
		return c, true
	}
	if len(b) == c.fields {
		return c, false
	}
	c.developer++
	c.end, ok = sizes(c.developer, int(b[c.fields]))
	return c, ok
}

// define takes a definition: header, a reserved byte, byte order, number of the
// message and of fields, and for each field number, size and base type; apart from
// that, those of the developer's fields. False is a base type that does not exist.
func (m *fitMessages) define(b, developer []byte) bool {
	f := &m.definitions[b[0]&proto.LocalMesgNumMask]
	f.arch, f.fields, f.stamp = b[2], f.fields[:0], fitField{}
	f.mesg = typedef.MesgNum(f.number(b[3:5], 2))
	var table *fieldTable
	if f.mesg <= lastWanted {
		table = fieldTables[f.mesg]
	}
	f.wanted = table != nil
	at := 1
	for fields := b[6:]; len(fields) > 0; fields = fields[3:] {
		if !basetype.BaseType(fields[2]).Valid() {
			return false
		}
		field := fitField{num: fields[0], at: at, size: int(fields[1])}
		at += field.size
		if field.size == 0 {
			continue
		}
		if field.num == proto.FieldNumTimestamp {
			f.stamp = field
		}
		if f.wanted && table[field.num] != nil {
			field.base = table[field.num]
			f.fields = append(f.fields, field)
		}
	}
	if f.mesg == mesgnum.Record {
		for ; len(developer) > 0; developer = developer[3:] {
			at += int(developer[1])
		}
		m.to.room(at)
	}
	return true
}

// message takes a message: its header, and its fields without a gap.
func (m *fitMessages) message(b []byte) {
	f := &m.definitions[proto.LocalMesgNum(b[0])&proto.LocalMesgNumMask]
	compressed := b[0]&proto.MesgCompressedHeaderMask != 0
	if compressed {
		offset := b[0] & proto.CompressedTimeMask
		m.timestamp += uint32((offset - m.offset) & proto.CompressedTimeMask)
		m.offset = offset
	}
	counted := m.timestamp
	if f.stamp.size > 0 {
		m.timestamp = f.number(b[f.stamp.at:f.stamp.at+f.stamp.size], 4)
		m.offset = byte(m.timestamp) & proto.CompressedTimeMask
	}
	switch {
	case f.mesg == mesgnum.Record && (compressed || f.stamp.size > 0):
		m.to.record(f, b, m.timestamp)
	case f.mesg == mesgnum.Record:
		m.to.record(f, b, basetype.Uint32Invalid)
	case f.mesg == mesgnum.Hrv:
		m.to.hrv(f, b)
	case f.wanted:
		m.to.message(m.unpack(f, b, compressed, counted))
	}
}

// unpack makes the library's message of the fields that are read.
func (m *fitMessages) unpack(f *fitDefinition, b []byte, compressed bool, counted uint32) *proto.Message {
	m.fields = m.fields[:0]
	if compressed {
		m.fields = append(m.fields, proto.Field{FieldBase: compressedTime, Value: proto.Uint32(counted)})
	}
	for i := range f.fields {
		field := &f.fields[i]
		v := b[field.at : field.at+field.size]
		var padded [8]byte
		if n := int(field.base.BaseType.Size()); field.size < n {
			// What is shorter than its type has zeros for the rest.
			if f.arch == proto.LittleEndian {
				copy(padded[:n], v)
			} else {
				copy(padded[n-field.size:n], v)
			}
			v = padded[:n]
		}
		// It fails for unknown types only, and those of the profile are known.
		value, _ := proto.UnmarshalValue(v, f.arch, field.base.BaseType, field.base.Type, field.base.Array)
		m.fields = append(m.fields, proto.Field{FieldBase: field.base, Value: value})
	}
	return &proto.Message{Num: f.mesg, Fields: m.fields}
}

// number returns the number in the first n bytes of a field, or in all it has if
// it has fewer.
func (f *fitDefinition) number(b []byte, n int) uint32 {
	if f.arch == proto.LittleEndian {
		if len(b) >= 4 && n == 4 {
			return binary.LittleEndian.Uint32(b)
		}
		v := uint32(0)
		for i, c := range b[:min(n, len(b))] {
			v |= uint32(c) << (8 * i)
		}
		return v
	}
	v := uint32(0)
	for _, c := range b[:min(n, len(b))] {
		v = v<<8 | uint32(c)
	}
	return v
}
