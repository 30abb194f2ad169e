package report

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"time"
)

// xmp is the metadata packet of the PDF (ISO 16684-1, Dublin Core and XMP
// basic terms).
func xmp(c Content, title string) []byte {
	var b bytes.Buffer
	esc := func(s string) string {
		var e bytes.Buffer
		// Writing to a buffer cannot fail.
		_ = xml.EscapeText(&e, []byte(s))
		return e.String()
	}
	when := c.Made.UTC().Format(time.RFC3339)
	fmt.Fprint(&b, "<?xpacket begin=\"\ufeff\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n")
	fmt.Fprint(&b, `<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/">`)
	fmt.Fprintf(&b, `<dc:title><rdf:Alt><rdf:li xml:lang="x-default">%s</rdf:li></rdf:Alt></dc:title>`, esc(title))
	fmt.Fprintf(&b, `<dc:identifier>%s</dc:identifier><dc:format>application/pdf</dc:format>`, esc(c.Record.Specimen.CatalogueNumber))
	if r := c.Record.Specimen.Rights; r != "" {
		fmt.Fprintf(&b, `<dc:rights><rdf:Alt><rdf:li xml:lang="x-default">%s</rdf:li></rdf:Alt></dc:rights>`, esc(r))
	}
	fmt.Fprintf(&b, `<xmp:CreateDate>%s</xmp:CreateDate><xmp:ModifyDate>%s</xmp:ModifyDate><xmp:CreatorTool>Rigatino</xmp:CreatorTool>`, when, when)
	fmt.Fprint(&b, "</rdf:Description></rdf:RDF></x:xmpmeta>\n<?xpacket end=\"w\"?>")
	return b.Bytes()
}
