package project

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/tally"
	"rigatino/mesh/change"
	"rigatino/mesh/frame"
	"rigatino/mesh/quantity"
)

// sampledFaces is how many faces of a change area are looked up on a map.
const sampledFaces = 1500

// lookup finds what the maps of a piece at one stage say at places in the
// piece's frame.
type lookup struct{ bodies []looked }

type looked struct {
	tally.Body
	regions map[uint16]annotate.Region
	toOwn   func(r3.Vec) r3.Vec
	factor  float64
}

// newLookup gathers the bodies of a piece that have a map and a known place.
func (p *Project) newLookup(ctx context.Context, record *annotate.Record, bodies []tally.Body, piece string) (lookup, error) {
	var out lookup
	for _, b := range bodies {
		key, err := annotate.ParseUseKey(b.Use)
		if err != nil || b.Piece != piece || b.Map == nil || b.Map.Blank() {
			continue
		}
		l, err := p.LoadUse(ctx, key, nil)
		if err != nil {
			return out, err
		}
		if !l.Aligned {
			continue
		}
		out.bodies = append(out.bodies, looked{b, record.RegionsOf(b.Use), ownFrame(l), l.factor()})
	}
	return out, nil
}

// ownFrame brings points of the piece's frame into a scan's own.
func ownFrame(l *Loaded) func(r3.Vec) r3.Vec {
	var back frame.Rigid = l.ScanToPiece.Inverse()
	return func(v r3.Vec) r3.Vec { return r3.Scale(1/l.factor(), back.Apply(v)) }
}

// covered is what maps say of the surface of a change area.
type covered struct {
	all, found, marked float64            // mm² sampled; of which the stage's surface is still there; of which something is said
	restored, fossil   float64            // mm² of each
	over               float64            // mm² with an applied region
	regions            map[string]float64 // mm² by restored region
}

// at sums what the maps say of a change area's surface on the scan after.
func (k lookup) at(c *change.Change, a *change.Area, withinMM float64) covered {
	out := covered{regions: map[string]float64{}}
	s := c.After
	index := func(f uint32) uint32 { return f }
	if s.Mesh.Source != nil {
		of := make(map[uint32]uint32, len(s.Mesh.Source))
		for i, f := range s.Mesh.Source {
			of[f] = uint32(i)
		}
		index = func(f uint32) uint32 { return of[f] }
	}
	stride := max(1, len(a.AfterFaces)/sampledFaces)
	for i := 0; i < len(a.AfterFaces); i += stride {
		f := index(a.AfterFaces[i])
		p, q, r := s.Mesh.Corners(f)
		size := r3.Norm(s.Mesh.AreaVector(f))
		out.all += size
		middle := r3.Scale(1.0/3, r3.Add(p, r3.Add(q, r)))
		for _, b := range k.bodies {
			place, away, ok := b.Surface.Locate(b.toOwn(middle))
			if !ok || away*b.factor > withinMM || b.Map.Elsewhere(place.Face) {
				continue
			}
			substance, over := b.Map.At(place, nil)
			g := b.regions[substance]
			out.found += size
			if substance != 0 || len(over) > 0 {
				out.marked += size
			}
			if len(over) > 0 {
				out.over += size
			}
			switch {
			case annotate.IsRestored(g.Kind):
				out.restored += size
				out.regions[g.ID] += size
			case annotate.IsOriginal(g.Kind):
				out.fossil += size
			}
			break
		}
	}
	return out
}

// unmarked finds added matter of which the map at a stage says nothing, or says
// that it is fossil, and gathers the volumes of the fills that it does mark.
func (p *Project) unmarked(c *Comparison, k lookup) (points []annotate.OpenPoint, fills []tally.FillScan) {
	if len(k.bodies) == 0 {
		return nil, nil
	}
	groups := map[int][]string{} // area → regions that it was put on with
	within := math.Max(1, 2*c.Change.StepMM)
	for i := range c.Change.Areas {
		a := &c.Change.Areas[i]
		if a.Kind != change.Added || c.What[i] == movedPiece {
			continue
		}
		v := c.Volume.Areas[i].Volume
		if v != nil && v.Covers(0) {
			continue // not told from nothing
		}
		here := k.at(c.Change, a, within)
		if here.all == 0 || here.found < here.all/2 {
			continue // gone again, or under something put on later
		}
		about := fmt.Sprintf("%v %v area %d", c.From, c.To, i+1)
		say := func(id, reason, way string) {
			points = append(points, annotate.OpenPoint{ID: id + ":" + about, Severity: annotate.SeverityWarning, About: about, Reason: reason, WayOut: way})
		}
		size := fmt.Sprintf("%s (%.2g mm at most)", a.Surface, a.MaxDepthMM)
		switch {
		case here.restored >= here.found/2:
			for id, mm2 := range here.regions {
				if mm2 > 0.05*here.found {
					groups[i] = append(groups[i], id)
				}
			}
			slices.Sort(groups[i])
		case here.fossil >= here.found/2 && here.over < here.found/2:
			say("added_marked_original", fmt.Sprintf("from %s to %s matter was added on %s, and the map says original there", c.From.Stage, c.To.Stage, size),
				"look at the place: mark it as fill if it is one, or align again")
		case here.marked < here.found/2:
			say("added_not_marked", fmt.Sprintf("from %s to %s matter was added on %s, and nobody has marked it", c.From.Stage, c.To.Stage, size),
				"look at the proposals of that stage and mark what it is")
		}
	}
	return points, fillScans(c, groups)
}

// fillScans sums the areas that were put on with the same regions.
func fillScans(c *Comparison, groups map[int][]string) []tally.FillScan {
	// Areas that share a region belong together.
	var sets [][]string
	for i := range c.Change.Areas {
		ids := groups[i]
		if len(ids) == 0 {
			continue
		}
		merged := slices.Clone(ids)
		sets = slices.DeleteFunc(sets, func(s []string) bool {
			if slices.ContainsFunc(s, func(id string) bool { return slices.Contains(merged, id) }) {
				merged = append(merged, s...)
				return true
			}
			return false
		})
		slices.Sort(merged)
		sets = append(sets, slices.Compact(merged))
	}
	var out []tally.FillScan
	for _, set := range sets {
		total := c.Volume.Total(c.Change, change.Added, func(area int) bool {
			return len(groups[area]) == 0 || !slices.Contains(set, groups[area][0])
		})
		if total.Volume != nil {
			out = append(out, tally.FillScan{Regions: set, Volume: *total.Volume})
		}
	}
	return out
}

// tooThin says whether a region that no change area shows lies higher than
// before in the mean, by less than the pair can claim.
func tooThin(c *Comparison, mean, area float64, g annotate.Region) (annotate.OpenPoint, bool) {
	if !(mean > c.Change.LimitMM/3) || mean >= c.Change.SmallestMM {
		return annotate.OpenPoint{}, false
	}
	most := quantity.Measured{Value: area * c.Change.SmallestMM, Unit: quantity.CubicMillimetre}
	return annotate.OpenPoint{
		ID: "thinner_than_smallest:" + g.ID, Severity: annotate.SeverityNote, About: g.ID,
		Reason: fmt.Sprintf("region %s is marked as %s made at stage %s; it lies %.2g mm higher than at %s, less than the %.2g mm that the pair can show: it may hold up to %s, which was not measured",
			g.ID, strings.ReplaceAll(g.Kind, "_", " "), c.To.Stage, mean, c.From.Stage, c.Change.SmallestMM, most),
		WayOut: "take the thickness from a gauge or the amount used, or scan finer",
	}, true
}
