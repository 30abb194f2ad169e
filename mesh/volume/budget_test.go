package volume

import (
	"math"
	"testing"

	"rigatino/mesh/change"
)

// GUM G.4.1 (Welch–Satterthwaite): two areas whose levels have u 3 with 4
// degrees of freedom and u 4 with 9 are together worth 25²/(81/4 + 256/9)
// degrees; an area with many adds to u and takes nothing away; Student's t for
// 95.45 % and 12 degrees is 2.23 (GUM table G.2).
func TestLevelsShareTheirDegreesOfFreedom(t *testing.T) {
	c := &change.Change{}
	b := budget(c, []*Area{{terms: terms{level: 3, levelDof: 4}}, {terms: terms{level: 4, levelDof: 9}}})
	want := 625 / (81.0/4 + 256.0/9)
	if got := b.Dof(); math.Abs(got-want) > 1e-9 {
		t.Errorf("%v degrees of freedom, wanted %v", got, want)
	}
	if k := b.Measured(1, "mm3", "").K; math.Abs(k-2.23) > 0.006 {
		t.Errorf("k is %v, not that of 12 degrees", k)
	}
	more := budget(c, []*Area{{terms: terms{level: 3, levelDof: 4}}, {terms: terms{level: 4}}})
	if got, want := more.Dof(), 625/(81.0/4); math.Abs(got-want) > 1e-9 {
		t.Errorf("with one level of many degrees %v, wanted %v", got, want)
	}
}
