package ply

// ReadInBlocks is Read with the lines of an ascii body taken in blocks of a
// given number of bytes, so that small files have several.
var ReadInBlocks = readIn
