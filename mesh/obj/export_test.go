package obj

// ReadInBlocks is Read in blocks of a given number of bytes, so that small files
// have several.
var ReadInBlocks = readIn
