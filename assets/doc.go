// Package assets holds what the program carries with it: the icon, and below it
// the generator of the invented demo specimen. Everything in it is our own.
package assets
