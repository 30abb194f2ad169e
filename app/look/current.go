package look

import "fyne.io/fyne/v2"

// Current returns the theme in force, or the light one where the program that
// runs has set another kind of theme (as tests of single parts do).
func Current() *Theme {
	if a := fyne.CurrentApp(); a != nil {
		if t, ok := a.Settings().Theme().(*Theme); ok {
			return t
		}
	}
	return &Theme{Scale: 1}
}
