package annotate

import (
	"fmt"
	"strings"
	"time"
)

// Span is the days that a date may mean.
type Span struct {
	First, Last        time.Time // first and last day, midnight UTC; zero where open or unknown
	OpenFirst          bool      // no first day: "../1932", "/1932"
	OpenLast           bool      // no last day: "1932/..", "1932/"
	Uncertain, Approx  bool      // marked ? or ~ or, for both, %; seasons are approximate
	Interval, Unmarked bool      // an interval; no date at all
}

// ParseDate reads a date of the Extended Date/Time Format (Library of Congress,
// 2019, now in ISO 8601-2): years, months, days and times, seasons (21 to 24),
// digits left open (193X, 2004-XX), marks ? ~ % at the end, intervals, and
// intervals open or unknown at one end. Years before 1 and beyond 9999, sets and
// marks on single components are not supported. An empty text is no date.
func ParseDate(text string) (Span, error) {
	if text == "" {
		return Span{OpenFirst: true, OpenLast: true, Unmarked: true}, nil
	}
	from, to, interval := strings.Cut(text, "/")
	if !interval {
		return parseDay(text)
	}
	out := Span{Interval: true}
	open := func(s string) bool { return s == ".." || s == "" }
	if open(from) && open(to) {
		return Span{}, fmt.Errorf("date %q is open at both ends: leave the date empty if nothing is known", text)
	}
	if open(from) {
		out.OpenFirst = true
	} else {
		a, err := parseDay(from)
		if err != nil {
			return Span{}, err
		}
		out.First, out.Uncertain, out.Approx = a.First, a.Uncertain, a.Approx
	}
	if open(to) {
		out.OpenLast = true
	} else {
		b, err := parseDay(to)
		if err != nil {
			return Span{}, err
		}
		out.Last = b.Last
		out.Uncertain, out.Approx = out.Uncertain || b.Uncertain, out.Approx || b.Approx
		if !out.OpenFirst && b.Last.Before(out.First) {
			return Span{}, fmt.Errorf("date %q ends before it begins", text)
		}
	}
	return out, nil
}

// parseDay reads a single date.
func parseDay(text string) (Span, error) {
	bad := func() (Span, error) {
		return Span{}, fmt.Errorf("date %q is not readable: write 2024-03-09, 2024-03, 2024, 193X, 1932?, or an interval such as ../1932", text)
	}
	var out Span
	s := text
	switch s[len(s)-1] {
	case '?':
		out.Uncertain = true
	case '~':
		out.Approx = true
	case '%':
		out.Uncertain, out.Approx = true, true
	}
	if out.Uncertain || out.Approx {
		s = s[:len(s)-1]
	}
	if day, clock, timed := strings.Cut(s, "T"); timed {
		if !clockReadable(clock) || len(day) != len("2006-01-02") {
			return bad()
		}
		s = day
	}
	parts := strings.Split(s, "-")
	if len(parts) > 3 || len(parts[0]) != 4 {
		return bad()
	}
	low, high, ok := digits(parts[0])
	if !ok || high == 0 {
		return bad()
	}
	low = max(low, 1)
	years := low != high
	firstMonth, lastMonth := 1, 12
	if len(parts) > 1 {
		a, b, ok := digits(parts[1])
		switch {
		case len(parts[1]) != 2 || !ok || years:
			return bad()
		case parts[1] == "XX":
		case a != b:
			return bad()
		case a >= 1 && a <= 12:
			firstMonth, lastMonth = a, a
		case a >= 21 && a <= 24 && len(parts) == 2:
			// Seasons have no exact days and depend on the hemisphere: all
			// that can be said for sure is the year.
			out.Approx = true
		default:
			return bad()
		}
	}
	out.First = time.Date(low, time.Month(firstMonth), 1, 0, 0, 0, 0, time.UTC)
	out.Last = time.Date(high, time.Month(lastMonth)+1, 0, 0, 0, 0, 0, time.UTC)
	if len(parts) == 3 && parts[2] != "XX" {
		a, b, ok := digits(parts[2])
		if len(parts[2]) != 2 || !ok || a != b || a < 1 || firstMonth != lastMonth || a > out.Last.Day() {
			return bad()
		}
		out.First = out.First.AddDate(0, 0, a-1)
		out.Last = out.First
	}
	return out, nil
}

// digits reads digits of which the last ones may be left open as X.
func digits(s string) (low, high int, ok bool) {
	open := false
	for _, c := range s {
		switch {
		case c == 'X':
			open = true
			low, high = low*10, high*10+9
		case c >= '0' && c <= '9' && !open:
			low, high = low*10+int(c-'0'), high*10+int(c-'0')
		default:
			return 0, 0, false
		}
	}
	return low, high, s != ""
}

func clockReadable(s string) bool {
	for _, layout := range []string{"15:04:05", "15:04", "15:04:05Z07:00", "15:04Z07:00"} {
		if _, err := time.Parse(layout, s); err == nil {
			return true
		}
	}
	return false
}

// before says whether span a is the earlier one for putting stages in order: by
// the last day it may mean, so that "../1932" comes before 1940 and after 1900.
func (a Span) before(b Span) bool {
	switch {
	case a.OpenLast && a.OpenFirst: // no date: after all others
		return false
	case b.OpenLast && b.OpenFirst:
		return true
	}
	end := func(s Span) time.Time {
		if s.OpenLast {
			return s.First
		}
		return s.Last
	}
	if x, y := end(a), end(b); !x.Equal(y) {
		return x.Before(y)
	}
	return false
}
