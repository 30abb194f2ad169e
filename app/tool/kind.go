package tool

// Kind is a tool.
type Kind string

// The tools of the task Map.
const (
	Brush      Kind = "brush"
	Loop       Kind = "loop"
	Grow       Kind = "grow"
	SameColour Kind = "same_colour"
	Join       Kind = "join"
	Ruler      Kind = "ruler"
)

// About is what the window says of a tool.
type About struct {
	Kind Kind
	Word string
	Key  rune // chooses it
	// Does says in a sentence what to do, with %s for what is being mapped; Size
	// says what its size in mm is, with %s for the size.
	Does string
	Size string
	// Marks is whether a kind must be chosen on the shelf first.
	Marks bool
}

// All lists the tools in the order of their buttons.
var All = []About{
	{Brush, "Brush", 'b', "Brush over every place that is **%s**.", "brush %s wide", true},
	{Loop, "Loop", 'o', "Draw a line round an area that is **%s**; it closes itself where you let go.", "", true},
	{Grow, "Grow to edges", 'g', "Press inside an area that is **%s**; it fills up to the edges round it.", "reaches %s", true},
	{SameColour, "Same colour", 'c', "Press on a colour that is **%s**; what hangs together with it in that colour is taken.", "reaches %s", true},
	{Join, "Join line", 'j', "Press along a join, place after place; the line runs along the break between them. Drag a point to move it, then press **Keep the line**.", "", false},
	{Ruler, "Ruler", 'u', "Press on two places; the length is given straight and over the surface.", "", false},
}

// Get returns what there is to say of a tool; the brush for one not known.
func Get(k Kind) About {
	for _, a := range All {
		if a.Kind == k {
			return a
		}
	}
	return All[0]
}

// ByKey returns the tool that a key chooses.
func ByKey(r rune) (Kind, bool) {
	for _, a := range All {
		if a.Key == r {
			return a.Kind, true
		}
	}
	return "", false
}
