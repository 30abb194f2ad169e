//go:build !headless

package main

import (
	"bytes"
	"fmt"
	"image"
	"image/png"
)

// sizeOf reads a size like 1280x800.
func sizeOf(text string) (w, h float32, err error) {
	if n, err := fmt.Sscanf(text, "%gx%g", &w, &h); n != 2 || err != nil || w < 320 || h < 240 {
		return 0, 0, usagef("--size: %q is not a size like 1280x800", text)
	}
	return w, h, nil
}

// iconPNG codes the icon for the window system.
func iconPNG(img image.Image) []byte {
	var b bytes.Buffer
	// Coding into memory a picture we drew cannot fail.
	_ = png.Encode(&b, img)
	return b.Bytes()
}
