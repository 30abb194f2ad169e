package ply

import (
	"bytes"
	"math"
	"sync"
	"sync/atomic"

	"rigatino/mesh"
)

// lines says where the lines of an ascii body lie: block k is the bytes from
// cuts[k] to cuts[k+1] and begins with line first[k] of the body.
type lines struct{ cuts, first []int }

// lineBytes is about how much of an ascii body one worker reads at a time.
const lineBytes = 1 << 20

// find cuts the body at line ends and counts them.
func (r *reader) find() error {
	data, at := r.body.data, r.head.end
	l := &lines{cuts: []int{at}}
	for at += r.size; at < len(data); at += r.size {
		i := bytes.IndexByte(data[at:], '\n')
		if i < 0 {
			break
		}
		if at += i + 1; at < len(data) {
			l.cuts = append(l.cuts, at)
		}
	}
	l.cuts = append(l.cuts, len(data))
	counts := make([]int, len(l.cuts)-1)
	if err := mesh.Parallel(r.ctx, len(counts), func(k int) {
		counts[k] = bytes.Count(data[l.cuts[k]:l.cuts[k+1]], []byte("\n"))
	}); err != nil {
		return err
	}
	l.first = make([]int, len(l.cuts))
	for k, n := range counts {
		l.first[k+1] = l.first[k] + n
	}
	if data[len(data)-1] != '\n' {
		l.first[len(counts)]++ // the last line is one without its end
	}
	r.lines = l
	return nil
}

// byLines reads an element of an ascii body whose records stand one in a line,
// as nearly every program writes them, in blocks side by side. start is told
// how many blocks there will be; each is called with the number of its block,
// within one block in order. Where the file is written in any other way, or
// something is wrong with it, done is false and nothing has been read: records
// takes it then, and knows how to say what is wrong.
func (r *reader) byLines(e *element, start func(blocks int), each func(block, i int, numbers []float64, lists [][]float64) error) (done bool, err error) {
	if r.head.format != ascii || len(e.properties) == 0 || e.count == 0 || r.line < 0 {
		return false, nil
	}
	if r.lines == nil {
		if err := r.find(); err != nil {
			return false, err
		}
	}
	l, begin := r.lines, r.line
	if e.count > l.first[len(l.first)-1]-begin {
		return false, nil
	}
	from := 0
	for l.first[from+1] <= begin {
		from++
	}
	to := from
	for l.first[to] < begin+e.count {
		to++
	}
	start(to - from)
	var other atomic.Bool
	var last atomic.Int64
	var mutex sync.Mutex
	read := 0
	err = mesh.Parallel(r.ctx, to-from, func(b int) {
		k := from + b
		at, line := l.cuts[k], l.first[k]
		if line < begin {
			at, line = r.body.at, begin
		}
		end, ok := r.readLines(e, at, line-begin, min(l.first[k+1]-begin, e.count), &other, func(i int, numbers []float64, lists [][]float64) error {
			return each(b, i, numbers, lists)
		})
		if !ok {
			other.Store(true)
		}
		if k == to-1 {
			last.Store(int64(end))
		}
		mutex.Lock()
		defer mutex.Unlock()
		read += l.cuts[k+1] - l.cuts[k]
		r.progress(min(r.body.at+read, len(r.body.data)), e)
	})
	if err != nil || other.Load() {
		return false, err
	}
	r.body.at, r.line = int(last.Load()), begin+e.count
	return true, nil
}

// readLines reads records i up to n from the lines that begin at at, and returns
// where the next begins; ok is false if one is not as it should be.
func (r *reader) readLines(e *element, at, i, n int, stop *atomic.Bool, each func(i int, numbers []float64, lists [][]float64) error) (end int, ok bool) {
	data := r.body.data
	numbers := make([]float64, len(e.properties))
	lists := make([][]float64, len(e.properties))
	for ; i < n; i++ {
		if i&1023 == 0 && (stop.Load() || r.ctx.Err() != nil) {
			return at, false
		}
		end := bytes.IndexByte(data[at:], '\n')
		if end < 0 {
			end = len(data)
		} else {
			end += at
		}
		b := body{data: data[:end], at: at, format: ascii, quiet: true}
		if b.record(e, numbers, lists) != nil {
			return at, false
		}
		for b.at < end && data[b.at] <= ' ' {
			b.at++
		}
		if b.at != end || each(i, numbers, lists) != nil {
			return at, false
		}
		at = min(end+1, len(data))
	}
	return at, true
}

// colourByte rounds a colour of 0 to 255; what is not a number is 0.
func colourByte(x float64) uint8 {
	if x > 0 {
		return uint8(math.Round(min(x, 255)))
	}
	return 0
}
