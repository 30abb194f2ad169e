// Package look is how the window looks: the colours, sizes and type of the
// theme, in light, dark and high contrast. It is paper, ink and one blue-green
// accent; all other colour belongs to the specimen.
package look
