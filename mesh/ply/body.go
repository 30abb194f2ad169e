package ply

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strconv"

	"rigatino/mesh/numeral"
)

// body reads the numbers of the elements one after the other. It is the slow
// way that any file can be read by; fast.go has the common one.
type body struct {
	data   []byte
	at     int
	format format
	quiet  bool // what is wrong is of no interest: do not count lines to say it
}

// where says in words where the reader stands.
func (b *body) where() string {
	if b.quiet {
		return ""
	}
	if b.format == ascii {
		return fmt.Sprintf("the body at line %d", 1+bytes.Count(b.data[:min(b.at, len(b.data))], []byte("\n")))
	}
	return fmt.Sprintf("the body at byte %d", b.at)
}

// next reads one number of the given type.
func (b *body) next(kind scalar) (float64, error) {
	if b.format == ascii {
		return b.word()
	}
	n := kind.size()
	if len(b.data)-b.at < n {
		return 0, damaged(b.where(), "breaks off")
	}
	x := number(b.data[b.at:], kind, b.format)
	b.at += n
	return x, nil
}

// number decodes a binary number.
func number(p []byte, kind scalar, f format) float64 {
	switch kind {
	case int8Type:
		return float64(int8(p[0]))
	case uint8Type:
		return float64(p[0])
	}
	var order binary.ByteOrder = binary.LittleEndian
	if f == bigEndian {
		order = binary.BigEndian
	}
	switch kind {
	case int16Type:
		return float64(int16(order.Uint16(p)))
	case uint16Type:
		return float64(order.Uint16(p))
	case int32Type:
		return float64(int32(order.Uint32(p)))
	case uint32Type:
		return float64(order.Uint32(p))
	case float32Type:
		return float64(math.Float32frombits(order.Uint32(p)))
	}
	return math.Float64frombits(order.Uint64(p))
}

// word reads one number of an ascii body.
func (b *body) word() (float64, error) {
	begin := numeral.Skip(b.data, b.at)
	x, end, ok := numeral.Float(b.data, begin)
	if !ok {
		if b.at = begin; end == begin {
			return 0, damaged(b.where(), "breaks off")
		}
		return 0, damaged(b.where(), "has %q where a number should be", clip(b.data[begin:end]))
	}
	b.at = end
	return x, nil
}

// clip shortens what is shown of a broken file.
func clip[T string | []byte](token T) string {
	if len(token) > 24 {
		return string(token[:24]) + "…"
	}
	return string(token)
}

// label is the element's name as a message repeats it: in part, and quoted
// where it holds what cannot be shown.
func (e *element) label() string {
	short := clip(e.name)
	if quoted := strconv.Quote(short); quoted != `"`+short+`"` {
		return quoted
	}
	return short
}

// record reads one record: numbers[k] for property k, and lists[k] if it is a
// list. Both are used again for the next record.
func (b *body) record(e *element, numbers []float64, lists [][]float64) error {
	for k := range e.properties {
		p := &e.properties[k]
		if !p.isList() {
			x, err := b.next(p.kind)
			if err != nil {
				return err
			}
			numbers[k] = x
			continue
		}
		n, err := b.next(p.length)
		if err != nil {
			return err
		}
		least := p.kind.size()
		if b.format == ascii {
			least = 1
		}
		if !(n >= 0) || n != math.Trunc(n) || n > float64((len(b.data)-b.at)/least) {
			return damaged(b.where(), "has a list of %v numbers, more than follow", n)
		}
		lists[k] = lists[k][:0]
		for range int(n) {
			x, err := b.next(p.kind)
			if err != nil {
				return err
			}
			lists[k] = append(lists[k], x)
		}
	}
	return nil
}

// enough checks that the records of an element can be there at all.
func (b *body) enough(e *element) error {
	least := e.least(b.format)
	if least == 0 || e.count == 0 {
		return nil
	}
	rest := len(b.data) - b.at
	if b.format == ascii {
		rest++ // the last number needs nothing after it
	}
	if e.count > rest/least {
		return damaged("the element "+e.label(), "should have %d records and the file ends after at most %d", e.count, rest/least)
	}
	return nil
}
