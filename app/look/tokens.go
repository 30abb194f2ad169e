package look

import "image/color"

// Tokens are the colours of one appearance. Contrast of ink on every ground is
// at least 4.5, of edges at least 3 (WCAG 2; checked by test).
type Tokens struct {
	Page, Card, Ground, Band color.NRGBA
	Ink, Soft, Edge, Rule    color.NRGBA
	Accent, AccentText       color.NRGBA
	Warning, WarningGround   color.NRGBA
	Refused, RefusedGround   color.NRGBA
	Accepted                 color.NRGBA
}

// Appearance chooses one of the three sets of tokens.
type Appearance int

// The appearances a person can choose.
const (
	Light Appearance = iota
	Dark
	HighContrast
)

// Of returns the tokens of an appearance.
func Of(a Appearance) Tokens {
	switch a {
	case Dark:
		return dark
	case HighContrast:
		return contrast
	default:
		return light
	}
}

func rgb(v uint32) color.NRGBA {
	return color.NRGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 255}
}

var light = Tokens{
	Page: rgb(0xF3F0E9), Card: rgb(0xFFFDF8), Ground: rgb(0xE4E1DA), Band: rgb(0xE2EBEC),
	Ink: rgb(0x22282B), Soft: rgb(0x555C5E), Edge: rgb(0x8A857A), Rule: rgb(0xCBC4B5),
	Accent: rgb(0x0B5A78), AccentText: rgb(0xFFFFFF),
	Warning: rgb(0x7A4E00), WarningGround: rgb(0xFBEFD2),
	Refused: rgb(0x9C2F17), RefusedGround: rgb(0xF9E3DC),
	Accepted: rgb(0x2C6240),
}

var dark = Tokens{
	Page: rgb(0x1B1F21), Card: rgb(0x24292B), Ground: rgb(0x15181A), Band: rgb(0x23343B),
	Ink: rgb(0xECE8DF), Soft: rgb(0xB0B4B1), Edge: rgb(0x7D8585), Rule: rgb(0x3D4447),
	Accent: rgb(0x7CC0DC), AccentText: rgb(0x10222B),
	Warning: rgb(0xF0C36A), WarningGround: rgb(0x3A3018),
	Refused: rgb(0xF2A08A), RefusedGround: rgb(0x40231C),
	Accepted: rgb(0x8CCBA0),
}

var contrast = Tokens{
	Page: rgb(0xFFFFFF), Card: rgb(0xFFFFFF), Ground: rgb(0xE4E1DA), Band: rgb(0xFFFFFF),
	Ink: rgb(0x000000), Soft: rgb(0x22282B), Edge: rgb(0x000000), Rule: rgb(0x000000),
	Accent: rgb(0x00405A), AccentText: rgb(0xFFFFFF),
	Warning: rgb(0x5A3800), WarningGround: rgb(0xFFFFFF),
	Refused: rgb(0x7C1E0A), RefusedGround: rgb(0xFFFFFF),
	Accepted: rgb(0x1C4A2C),
}
