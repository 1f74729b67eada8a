package model

import "image/color"

// Theme is a set of colours. Nothing is told by colour alone: a word, a shape or
// a pattern stands beside it.
type Theme struct {
	Name   string
	Ground color.NRGBA // behind everything
	Sheet  color.NRGBA // behind a group
	Raised color.NRGBA // what can be pressed
	Rule   color.NRGBA
	Ink    color.NRGBA
	Pale   color.NRGBA // text that matters less: still 4.5 to 1 on Sheet
	Accent color.NRGBA // what is chosen, current
	OnIt   color.NRGBA // text on Accent
	Limit  color.NRGBA // budget, errors
	Load   color.NRGBA // motors and fans
	Good   color.NRGBA
}

func rgb(v uint32) color.NRGBA {
	return color.NRGBA{uint8(v >> 16), uint8(v >> 8), uint8(v), 0xff}
}

// Dark is for the workshop by night, as the panel is.
var Dark = &Theme{
	Name: "dark", Ground: rgb(0x14161a), Sheet: rgb(0x1e2228), Raised: rgb(0x2c333c), Rule: rgb(0x4a5460),
	Ink: rgb(0xeef1f4), Pale: rgb(0xa9b3be), Accent: rgb(0xf2b134), OnIt: rgb(0x1a1408), Limit: rgb(0xff6e5e), Load: rgb(0x6fa8dc), Good: rgb(0x79c28f),
}

// Light is for a bright room.
var LightTheme = &Theme{
	Name: "light", Ground: rgb(0xf1f2f4), Sheet: rgb(0xffffff), Raised: rgb(0xdfe3e8), Rule: rgb(0xaab2bb),
	Ink: rgb(0x15181c), Pale: rgb(0x525c67), Accent: rgb(0x9a6200), OnIt: rgb(0xffffff), Limit: rgb(0xb3261a), Load: rgb(0x23639c), Good: rgb(0x1f6f3c),
}

// withAlpha is a colour that lets some of the ground through.
func withAlpha(c color.NRGBA, a uint8) color.NRGBA { c.A = a; return c }
