package annotate

import (
	"testing"
	"time"
)

// Examples of levels 0 and 1 of the specification (Library of Congress,
// Extended Date/Time Format, 2019), with the days they mean by its words.
func TestParseDate(t *testing.T) {
	for _, c := range []struct {
		text        string
		first, last string // empty: open
		uncertain   bool
		approx      bool
	}{
		{"1985-04-12", "1985-04-12", "1985-04-12", false, false},
		{"1985-04", "1985-04-01", "1985-04-30", false, false},
		{"1985", "1985-01-01", "1985-12-31", false, false},
		{"1985-04-12T23:20:30Z", "1985-04-12", "1985-04-12", false, false},
		{"1985-04-12T23:20:30+04:30", "1985-04-12", "1985-04-12", false, false},
		{"2004-02-29", "2004-02-29", "2004-02-29", false, false},
		{"1964/2008", "1964-01-01", "2008-12-31", false, false},
		{"2004-02-01/2005-02-08", "2004-02-01", "2005-02-08", false, false},
		{"2004-02-01/2005", "2004-02-01", "2005-12-31", false, false},
		{"1984?", "1984-01-01", "1984-12-31", true, false},
		{"2004-06~", "2004-06-01", "2004-06-30", false, true},
		{"2004-06-11%", "2004-06-11", "2004-06-11", true, true},
		{"201X", "2010-01-01", "2019-12-31", false, false},
		{"20XX", "2000-01-01", "2099-12-31", false, false},
		{"2004-XX", "2004-01-01", "2004-12-31", false, false},
		{"1985-04-XX", "1985-04-01", "1985-04-30", false, false},
		{"1985-XX-XX", "1985-01-01", "1985-12-31", false, false},
		{"2001-21", "2001-01-01", "2001-12-31", false, true},
		{"../1985-04-12", "", "1985-04-12", false, false},
		{"../1932", "", "1932-12-31", false, false},
		{"/1985-04-12", "", "1985-04-12", false, false},
		{"1985-04/..", "1985-04-01", "", false, false},
		{"1985/", "1985-01-01", "", false, false},
		{"", "", "", false, false},
	} {
		s, err := ParseDate(c.text)
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		show := func(d time.Time, open bool) string {
			if open != d.IsZero() {
				t.Errorf("%q: open %v with day %v", c.text, open, d)
			}
			if open {
				return ""
			}
			return d.Format(time.DateOnly)
		}
		if first, last := show(s.First, s.OpenFirst), show(s.Last, s.OpenLast); first != c.first || last != c.last || s.Uncertain != c.uncertain || s.Approx != c.approx {
			t.Errorf("%q: %s to %s, uncertain %v, approximate %v", c.text, first, last, s.Uncertain, s.Approx)
		}
	}
	for _, text := range []string{
		"yesterday", "9 Mar 2024", "2024-3-9", "2024-13", "2024-02-30", "2003-02-29", "24", "2024-03-09-01", "2024-X3", "X024",
		"19X4", "193X-04", "2024-XX-09", "../..", "/", "2005/2004", "2024-03-09T25:00", "2024-03T10:00", "?", "0000", "2024-21-03", "1985/1986/1987",
	} {
		if s, err := ParseDate(text); err == nil {
			t.Errorf("%q was read as %+v", text, s)
		}
	}
}

func TestDatesInOrder(t *testing.T) {
	order := []string{"1900", "../1932", "1940-05", "1940-05-31/1940-06-02", "2024-03-09", "2024-03", "2030/..", ""}
	for i, a := range order {
		for j, b := range order {
			x, _ := ParseDate(a)
			y, _ := ParseDate(b)
			if got, want := x.before(y), i < j; got != want {
				t.Errorf("%q before %q: %v", a, b, got)
			}
		}
	}
}
