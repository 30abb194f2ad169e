package main

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"net"
)

// This file asks an X server what a window shows, so that a picture of the real
// window needs no further program. Source of every number below: X Window System
// Protocol, X Version 11, Release 7, appendix B (encoding). Only what an Xvfb of
// this command's own gives is supported: no authorisation, 24 bits of colour in
// 32-bit pixels.

const (
	opGetWindowAttributes = 3
	opGetGeometry         = 14
	opQueryTree           = 15
	opGetImage            = 73

	mapStateViewable = 2
	formatZPixmap    = 2
)

// An xServer is a connection to one X server.
type xServer struct {
	conn net.Conn
	in   *bufio.Reader
	root uint32
	base uint32 // the first id for windows of our own: the test opens some
}

var le = binary.LittleEndian

// openX connects to a display and reads what the server says of itself.
func openX(ctx context.Context, display string) (*xServer, error) {
	conn, err := dialDisplay(ctx, display)
	if err != nil {
		return nil, err
	}
	if until, ok := ctx.Deadline(); ok {
		conn.SetDeadline(until) //nolint:errcheck // the reads below report a dead connection
	}
	x := &xServer{conn: conn, in: bufio.NewReaderSize(conn, 1<<16)}
	if err := x.greet(); err != nil {
		conn.Close()
		return nil, fmt.Errorf("display %s: %w", display, err)
	}
	return x, nil
}

func (x *xServer) close() { x.conn.Close() }

// greet does the connection setup: byte order, version 11.0, no authorisation.
func (x *xServer) greet() error {
	if _, err := x.conn.Write([]byte{'l', 0, 11, 0, 0, 0, 0, 0, 0, 0, 0, 0}); err != nil {
		return err
	}
	head := make([]byte, 8)
	if _, err := io.ReadFull(x.in, head); err != nil {
		return fmt.Errorf("no answer to the greeting: %w", err)
	}
	setup := make([]byte, 4*int(le.Uint16(head[6:])))
	if _, err := io.ReadFull(x.in, setup); err != nil {
		return fmt.Errorf("greeting cut off: %w", err)
	}
	if head[0] != 1 {
		return errors.New("the server refuses connections without authorisation")
	}
	if len(setup) < 32 {
		return errors.New("greeting too short")
	}
	if setup[22] != 0 {
		return errors.New("the server's pixels have their most significant byte first, which is not read")
	}
	x.base = le.Uint32(setup[4:])
	vendor, formats := int(le.Uint16(setup[16:])), int(setup[21])
	at := 32 + (vendor+3)&^3 + 8*formats
	if len(setup) < at+40 {
		return errors.New("greeting names no screen")
	}
	x.root = le.Uint32(setup[at:])
	if depth := setup[at+38]; depth != 24 {
		return fmt.Errorf("the screen has depth %d, only 24 is read", depth)
	}
	return nil
}

// ask sends a request and reads its reply; events that come between are
// dropped. Body is the request less its first four bytes; detail its second.
func (x *xServer) ask(opcode, detail byte, body []byte) ([]byte, error) {
	if err := x.send(opcode, detail, body); err != nil {
		return nil, err
	}
	for {
		reply := make([]byte, 32)
		if _, err := io.ReadFull(x.in, reply); err != nil {
			return nil, fmt.Errorf("request %d got no reply: %w", opcode, err)
		}
		switch reply[0] {
		case 0:
			return nil, fmt.Errorf("request %d got X error %d", opcode, reply[1])
		case 1:
			// Xvfb is our own, but a count is still read before it is trusted:
			// no picture of a screen is larger than this.
			more := uint64(le.Uint32(reply[4:])) * 4
			if more > 1<<28 {
				return nil, fmt.Errorf("request %d got a reply of %d bytes", opcode, more)
			}
			full := append(reply, make([]byte, more)...)
			_, err := io.ReadFull(x.in, full[32:])
			return full, err
		}
	}
}

func (x *xServer) send(opcode, detail byte, body []byte) error {
	request := []byte{opcode, detail, 0, 0}
	le.PutUint16(request[2:], uint16(1+len(body)/4))
	_, err := x.conn.Write(append(request, body...))
	return err
}

// words32 lays numbers out as X does, four bytes each.
func words32(numbers ...uint32) []byte {
	var b []byte
	for _, n := range numbers {
		b = le.AppendUint32(b, n)
	}
	return b
}

// geometry returns where a window lies in its parent, in pixels.
func (x *xServer) geometry(window uint32) (image.Rectangle, error) {
	r, err := x.ask(opGetGeometry, 0, words32(window))
	if err != nil {
		return image.Rectangle{}, err
	}
	left, top := int(int16(le.Uint16(r[12:]))), int(int16(le.Uint16(r[14:])))
	return image.Rect(left, top, left+int(le.Uint16(r[16:])), top+int(le.Uint16(r[18:]))), nil
}

// largestWindow returns the place of the largest window shown on the screen,
// cut to the screen, and false when none is shown.
func (x *xServer) largestWindow() (image.Rectangle, bool, error) {
	screen, err := x.geometry(x.root)
	if err != nil {
		return image.Rectangle{}, false, err
	}
	tree, err := x.ask(opQueryTree, 0, words32(x.root))
	if err != nil {
		return image.Rectangle{}, false, err
	}
	var best image.Rectangle
	for i := range int(le.Uint16(tree[16:])) {
		if len(tree) < 32+4*i+4 {
			return image.Rectangle{}, false, errors.New("list of windows cut off")
		}
		child := le.Uint32(tree[32+4*i:])
		// A window may have closed since the list was made: then it is not the largest.
		attributes, err := x.ask(opGetWindowAttributes, 0, words32(child))
		if err != nil || attributes[26] != mapStateViewable {
			continue
		}
		place, err := x.geometry(child)
		if err != nil {
			continue
		}
		place = place.Intersect(screen)
		if place.Dx()*place.Dy() > best.Dx()*best.Dy() {
			best = place
		}
	}
	return best, !best.Empty(), nil
}

// picture returns the pixels of a part of the screen as they are seen.
func (x *xServer) picture(part image.Rectangle) (*image.RGBA, error) {
	body := words32(x.root)
	for _, n := range []int{part.Min.X, part.Min.Y, part.Dx(), part.Dy()} {
		body = le.AppendUint16(body, uint16(n))
	}
	r, err := x.ask(opGetImage, formatZPixmap, append(body, 0xff, 0xff, 0xff, 0xff))
	if err != nil {
		return nil, err
	}
	pixels := r[32:]
	if len(pixels) < 4*part.Dx()*part.Dy() {
		return nil, errors.New("the picture is cut off")
	}
	img := image.NewRGBA(image.Rect(0, 0, part.Dx(), part.Dy()))
	for i := range part.Dx() * part.Dy() {
		// Little-endian 0x00RRGGBB, the masks of a 24-bit TrueColor visual.
		p := pixels[4*i:]
		img.SetRGBA(i%part.Dx(), i/part.Dx(), color.RGBA{p[2], p[1], p[0], 0xff})
	}
	return img, nil
}

// grabWindow returns a picture of the largest window that a display shows.
func grabWindow(ctx context.Context, display string) (*image.RGBA, error) {
	x, err := openX(ctx, display)
	if err != nil {
		return nil, err
	}
	defer x.close()
	place, shown, err := x.largestWindow()
	if err != nil {
		return nil, fmt.Errorf("display %s: %w", display, err)
	}
	if !shown {
		return nil, fmt.Errorf("display %s shows no window", display)
	}
	img, err := x.picture(place)
	if err != nil {
		return nil, fmt.Errorf("display %s: %w", display, err)
	}
	return img, nil
}

// colours counts the different colours of a picture, up to enough: a window
// that painted nothing has one or two.
func colours(img *image.RGBA, enough int) int {
	seen := map[color.RGBA]bool{}
	for y := range img.Rect.Dy() {
		for x := range img.Rect.Dx() {
			seen[img.RGBAAt(x, y)] = true
			if len(seen) >= enough {
				return len(seen)
			}
		}
	}
	return len(seen)
}
