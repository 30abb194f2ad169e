package mesh

import "bytes"

// ImageType tells PNG from JPEG by the first bytes, as a MIME type; "" for
// anything else. What a file calls itself is not trusted.
func ImageType(data []byte) string {
	switch {
	case bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")):
		return "image/png"
	case bytes.HasPrefix(data, []byte("\xff\xd8\xff")):
		return "image/jpeg"
	}
	return ""
}
