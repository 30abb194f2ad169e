package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"time"
)

// A screen is an X server in memory (Xvfb) on a free display number.
type screen struct {
	display string // ":7"
	stop    func()
}

// startScreen starts Xvfb on a display number that the server itself finds
// free, and returns when it takes connections.
func startScreen(ctx context.Context) (*screen, error) {
	read, write, err := os.Pipe()
	if err != nil {
		return nil, fmt.Errorf("start Xvfb: %w", err)
	}
	defer read.Close()
	ctx, cancel := context.WithCancel(ctx)
	// The server writes its number to file descriptor 3 once it is ready.
	// Without -noreset it starts afresh when its last client leaves, and turns
	// away whoever comes at that moment.
	cmd := exec.CommandContext(ctx, "Xvfb", "-displayfd", "3", "-noreset",
		"-screen", "0", "1600x1000x24", "-nolisten", "tcp", "+extension", "GLX")
	cmd.ExtraFiles = []*os.File{write}
	var said strings.Builder
	cmd.Stderr = &said
	ownGroup(cmd)
	if err := cmd.Start(); err != nil {
		cancel()
		write.Close()
		return nil, fmt.Errorf("start Xvfb: %w", err)
	}
	write.Close()
	ended := make(chan struct{})
	go func() {
		cmd.Wait() //nolint:errcheck // it is always ended by a signal
		close(ended)
	}()
	stop := func() {
		cancel()
		<-ended
	}
	if err := read.SetReadDeadline(time.Now().Add(30 * time.Second)); err != nil {
		stop()
		return nil, fmt.Errorf("start Xvfb: %w", err)
	}
	line, err := bufio.NewReader(read).ReadString('\n')
	number, bad := strconv.Atoi(strings.TrimSpace(line))
	if err != nil || bad != nil {
		stop()
		return nil, fmt.Errorf("no display named by Xvfb: %s", lastLine(said.String()))
	}
	return &screen{display: ":" + strconv.Itoa(number), stop: stop}, nil
}

func lastLine(text string) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	if last := lines[len(lines)-1]; last != "" {
		return last
	}
	return "it said nothing"
}

// displayHere returns the display of this session, or why there is none. A
// DISPLAY that nobody answers at counts as none.
func displayHere(ctx context.Context) (string, error) {
	display := os.Getenv("DISPLAY")
	if display == "" {
		return "", errors.New("DISPLAY is not set")
	}
	conn, err := dialDisplay(ctx, display)
	if err != nil {
		return "", err
	}
	conn.Close()
	return display, nil
}

// dialDisplay connects to an X display named as in DISPLAY: "host:number.screen",
// without a host the socket on this machine (X Window System, Xlib manual 2.1).
func dialDisplay(ctx context.Context, display string) (net.Conn, error) {
	colon := strings.LastIndex(display, ":")
	if colon < 0 {
		return nil, fmt.Errorf("DISPLAY %q has no colon", display)
	}
	host := display[:colon]
	text, _, _ := strings.Cut(display[colon+1:], ".")
	number, err := strconv.ParseUint(text, 10, 16)
	if err != nil || number > 65535-6000 {
		return nil, fmt.Errorf("DISPLAY %q has no display number", display)
	}
	dialer := net.Dialer{Timeout: 5 * time.Second}
	if host != "" && host != "unix" {
		conn, err := dialer.DialContext(ctx, "tcp", net.JoinHostPort(host, strconv.FormatUint(6000+number, 10)))
		if err != nil {
			return nil, fmt.Errorf("display %s does not answer: %w", display, err)
		}
		return conn, nil
	}
	socket := fmt.Sprintf("/tmp/.X11-unix/X%d", number)
	conn, err := dialer.DialContext(ctx, "unix", socket)
	if err != nil {
		// A server that may not make the folder listens on the abstract name.
		conn, err = dialer.DialContext(ctx, "unix", "@"+socket)
	}
	if err != nil {
		return nil, fmt.Errorf("display %s does not answer: %w", display, err)
	}
	return conn, nil
}
