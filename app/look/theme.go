package look

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/theme"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gobolditalic"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
)

// Theme is the window's theme: an appearance and a size of text.
type Theme struct {
	Appearance Appearance
	Scale      float32 // 1, 1.15, 1.3 or 1.5
}

// Sizes a person can choose for all text, as factors.
var Sizes = []float32{1, 1.15, 1.3, 1.5}

// Type sizes at scale 1, in Fyne units.
const (
	TextValue   = 32
	TextHeading = 19
	TextNext    = 16
	TextBody    = 15
	TextRow     = 14
	TextCaption = 13
)

// Target is the least height of anything that can be pressed.
const Target = 36

// Gap is the space between buttons; Edge that at the window's edge.
const (
	Gap  = 8
	Edge = 16
)

// Colours names the theme's tokens.
func (t *Theme) Colours() Tokens { return Of(t.Appearance) }

// Px scales a length given at size 1.
func (t *Theme) Px(v float32) float32 {
	if t.Scale == 0 {
		return v
	}
	return v * t.Scale
}

// Color gives Fyne's own widgets the tokens that fit their parts.
func (t *Theme) Color(name fyne.ThemeColorName, _ fyne.ThemeVariant) color.Color {
	c := t.Colours()
	switch name {
	case theme.ColorNameBackground:
		return c.Page
	case theme.ColorNameInputBackground, theme.ColorNameButton, theme.ColorNameOverlayBackground,
		theme.ColorNameMenuBackground, theme.ColorNameHeaderBackground:
		return c.Card
	case theme.ColorNameForeground:
		return c.Ink
	case theme.ColorNamePlaceHolder, theme.ColorNameDisabled:
		return c.Soft
	case theme.ColorNameInputBorder:
		return c.Edge
	case theme.ColorNameSeparator:
		return c.Rule
	case theme.ColorNamePrimary, theme.ColorNameFocus, theme.ColorNameHyperlink:
		return c.Accent
	case theme.ColorNameForegroundOnPrimary:
		return c.AccentText
	case theme.ColorNameWarning:
		return c.Warning
	case theme.ColorNameError:
		return c.Refused
	case theme.ColorNameSuccess:
		return c.Accepted
	case theme.ColorNameDisabledButton:
		return c.Page
	case theme.ColorNameSelection, theme.ColorNameHover, theme.ColorNamePressed:
		a := c.Accent
		a.A = 48
		return a
	case theme.ColorNameScrollBar:
		return c.Edge
	case theme.ColorNameShadow:
		return color.Transparent
	}
	v := theme.VariantLight
	if t.Appearance == Dark {
		v = theme.VariantDark
	}
	return theme.DefaultTheme().Color(name, v)
}

// Font gives the report's fonts. The toolkit's own lack the minus, arrows and
// signs of inequality (U+2212, U+2192, U+2264 …), for which it goes to whatever
// fonts the machine has; on a bare one it draws a box instead.
func (t *Theme) Font(s fyne.TextStyle) fyne.Resource {
	switch {
	case s.Symbol:
		return theme.DefaultTheme().Font(s)
	case s.Monospace:
		return mono
	case s.Bold && s.Italic:
		return boldItalic
	case s.Bold:
		return bold
	case s.Italic:
		return italic
	}
	return regular
}

var (
	regular    = fyne.NewStaticResource("Go-Regular.ttf", goregular.TTF)
	italic     = fyne.NewStaticResource("Go-Italic.ttf", goitalic.TTF)
	bold       = fyne.NewStaticResource("Go-Bold.ttf", gobold.TTF)
	boldItalic = fyne.NewStaticResource("Go-Bold-Italic.ttf", gobolditalic.TTF)
	mono       = fyne.NewStaticResource("Go-Mono.ttf", gomono.TTF)
)

// Icon is the toolkit's own.
func (t *Theme) Icon(n fyne.ThemeIconName) fyne.Resource { return theme.DefaultTheme().Icon(n) }

// Size gives sizes in Fyne units, text multiplied by the person's choice.
func (t *Theme) Size(name fyne.ThemeSizeName) float32 {
	switch name {
	case theme.SizeNameText:
		return t.Px(TextBody)
	case theme.SizeNameCaptionText:
		return t.Px(TextCaption)
	case theme.SizeNameHeadingText, theme.SizeNameSubHeadingText:
		return t.Px(TextHeading)
	case theme.SizeNamePadding:
		return 4
	case theme.SizeNameInnerPadding:
		return 8
	case theme.SizeNameInputRadius, theme.SizeNameSelectionRadius:
		return 4
	case theme.SizeNameSeparatorThickness, theme.SizeNameInputBorder:
		return 1
	}
	return theme.DefaultTheme().Size(name)
}
