package facemap

import (
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"math"
)

// diffVersion is the first byte of an encoded diff.
const diffVersion = 1

// MarshalText writes the diff for a journal: base64 of a version byte and, for
// each of the four lists, a count and its entries as unsigned varints, starts
// as the distance from the end of the entry before.
func (d Diff) MarshalText() ([]byte, error) {
	out := []byte{diffVersion}
	put := func(values ...uint64) {
		for _, v := range values {
			out = binary.AppendUvarint(out, v)
		}
	}
	var end uint32
	put(uint64(len(d.Substance)))
	for _, r := range d.Substance {
		put(uint64(r.Start-end), uint64(r.Count), uint64(r.Before), uint64(r.After))
		end = r.Start + r.Count
	}
	put(uint64(len(d.Over)))
	end = 0
	for i, r := range d.Over {
		if i > 0 && d.Over[i-1].Region != r.Region {
			end = 0
		}
		put(uint64(r.Region), uint64(r.Layer), uint64(r.Start-end), uint64(r.Count), bit(r.On))
		end = r.Start + r.Count
	}
	put(uint64(len(d.Elsewhere)))
	end = 0
	for _, r := range d.Elsewhere {
		put(uint64(r.Start-end), uint64(r.Count), bit(r.On))
		end = r.Start + r.Count
	}
	put(uint64(len(d.Subs)))
	end = 0
	for _, c := range d.Subs {
		put(uint64(c.Face - end))
		end = c.Face + 1
		for _, s := range []*Sub{c.Before, c.After} {
			if s == nil {
				put(0)
				continue
			}
			put(uint64(s.Level))
			for _, l := range s.Substance {
				put(uint64(l))
			}
			put(uint64(len(s.Over)))
			for _, o := range s.Over {
				put(uint64(o.Region), uint64(o.Layer), o.Cells)
			}
		}
	}
	return base64.StdEncoding.AppendEncode(nil, out), nil
}

func bit(b bool) uint64 {
	if b {
		return 1
	}
	return 0
}

// UnmarshalText reads what MarshalText wrote.
func (d *Diff) UnmarshalText(text []byte) error {
	data, err := base64.StdEncoding.AppendDecode(nil, text)
	if err != nil {
		return fmt.Errorf("change of a map is not readable: %w", err)
	}
	r := &diffReader{data: data}
	if v := r.next(math.MaxUint8); r.err == nil && v != diffVersion {
		return fmt.Errorf("change of a map has version %d, not %d", v, diffVersion)
	}
	var out Diff
	var end uint32
	face := func(end uint32) uint32 { return end + uint32(r.next(math.MaxUint32-uint64(end))) }
	count := func(start uint32) uint32 { return uint32(r.next(math.MaxUint32 - uint64(start))) }
	for range r.count() {
		s := SubstanceRun{Start: face(end)}
		s.Count, s.Before, s.After = count(s.Start), r.u16(), r.u16()
		out.Substance = append(out.Substance, s)
		end = s.Start + s.Count
		if r.err != nil {
			return r.err
		}
	}
	end = 0
	for i := range r.count() {
		o := OverRun{Region: r.u16(), Layer: Layer(r.next(uint64(Condition)))}
		if i > 0 && out.Over[i-1].Region != o.Region {
			end = 0
		}
		o.Start = face(end)
		o.Count, o.On = count(o.Start), r.next(1) == 1
		out.Over = append(out.Over, o)
		end = o.Start + o.Count
		if r.err != nil {
			return r.err
		}
	}
	end = 0
	for range r.count() {
		e := ElsewhereRun{Start: face(end)}
		e.Count, e.On = count(e.Start), r.next(1) == 1
		out.Elsewhere = append(out.Elsewhere, e)
		end = e.Start + e.Count
		if r.err != nil {
			return r.err
		}
	}
	end = 0
	for range r.count() {
		c := SubChange{Face: face(end)}
		c.Before, c.After = r.sub(), r.sub()
		out.Subs = append(out.Subs, c)
		end = c.Face + 1
		if r.err != nil {
			return r.err
		}
	}
	if r.err == nil && len(r.data) > 0 {
		return fmt.Errorf("change of a map has %d bytes too many", len(r.data))
	}
	*d = out
	return r.err
}

type diffReader struct {
	data []byte
	err  error
}

// next reads a varint of at most limit.
func (r *diffReader) next(limit uint64) uint64 {
	if r.err != nil {
		return 0
	}
	v, n := binary.Uvarint(r.data)
	if n <= 0 || v > limit {
		r.err = fmt.Errorf("change of a map is cut off or out of range, %d bytes before its end", len(r.data))
		return 0
	}
	r.data = r.data[n:]
	return v
}

func (r *diffReader) u16() uint16 { return uint16(r.next(math.MaxUint16)) }

// count reads a number of entries; each takes at least one byte, which guards
// against counts that the data cannot hold.
func (r *diffReader) count() int { return int(r.next(uint64(len(r.data)))) }

func (r *diffReader) sub() *Sub {
	level := uint8(r.next(MaxLevel))
	if level == 0 || r.err != nil {
		return nil
	}
	s := &Sub{Level: level, Substance: make([]uint16, Cells(level))}
	for i := range s.Substance {
		s.Substance[i] = r.u16()
	}
	last := -1
	for range r.count() {
		o := SubOver{Region: r.u16(), Layer: Layer(r.next(uint64(Condition))), Cells: r.next(allCells(level))}
		if r.err == nil && (int(o.Region) <= last || o.Cells == 0 || o.Layer == Substance) {
			r.err = fmt.Errorf("change of a map names region %d out of place", o.Region)
		}
		if r.err != nil {
			return nil
		}
		last = int(o.Region)
		s.Over = append(s.Over, o)
	}
	return s
}
