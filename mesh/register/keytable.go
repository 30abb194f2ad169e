package register

// keyTable numbers keys in the order in which they first come (open
// addressing; the zero value is empty).
type keyTable struct {
	table []uint32 // 1 + index into keys, 0 for a free place
	keys  []uint64
}

// put returns the number of key, a new one if it was not there.
func (t *keyTable) put(key uint64) uint32 {
	if 2*len(t.keys) >= len(t.table) {
		t.table = make([]uint32, max(1024, 2*len(t.table)))
		for i, k := range t.keys {
			t.table[t.place(k)] = uint32(i + 1)
		}
	}
	at := t.place(key)
	if t.table[at] == 0 {
		t.keys = append(t.keys, key)
		t.table[at] = uint32(len(t.keys))
	}
	return t.table[at] - 1
}

// get returns the number of key, if it is there.
func (t *keyTable) get(key uint64) (uint32, bool) {
	if len(t.table) == 0 {
		return 0, false
	}
	i := t.table[t.place(key)]
	return i - 1, i != 0
}

// place is where key stands in the table or would stand.
func (t *keyTable) place(key uint64) uint64 {
	mask := uint64(len(t.table) - 1)
	h := key * 0x9E3779B97F4A7C15
	h ^= h >> 32
	for at := h & mask; ; at = (at + 1) & mask {
		if i := t.table[at]; i == 0 || t.keys[i-1] == key {
			return at
		}
	}
}
