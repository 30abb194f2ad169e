package project

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"
)

const lockName = "lock"

// holder is who has a project open, as the lock file says.
type holder struct {
	Process int       `json:"process"`
	Machine string    `json:"machine"`
	Since   time.Time `json:"since"`
}

// LockedError says that somebody has the project open.
type LockedError struct {
	Dir     string
	Process int
	Machine string
	Since   time.Time
	// Elsewhere says that the holder is on another machine, where this one
	// cannot see whether it still runs.
	Elsewhere bool
}

// Error explains the lock and the way out.
func (e *LockedError) Error() string {
	text := fmt.Sprintf("project %s is open in another window or command (process %d on %s, since %s): close it there first",
		e.Dir, e.Process, e.Machine, e.Since.Local().Format("2006-01-02 15:04"))
	if e.Elsewhere || !locksEndWithTheProcess {
		text += fmt.Sprintf(", or, if that program is certainly gone, delete the file %q in the project's folder", lockName)
	}
	return text
}

// lock is the lock this program holds.
type lock struct {
	root *os.Root
	file *os.File
}

// takeLock takes the lock of a project. left is who held it before and ended
// without giving it back, nil if nobody.
func takeLock(root *os.Root, dir string, now time.Time) (l *lock, left *holder, err error) {
	machine, err := os.Hostname()
	if err != nil {
		machine = "a machine without a name"
	}
	f, err := root.OpenFile(lockName, os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, nil, fmt.Errorf("lock project %s: %w; open it for reading only if the folder cannot be written to", dir, err)
	}
	held := tryLock(f) != nil
	if !held {
		// Whoever gave the lock back may have removed the file just now.
		mine, err1 := f.Stat()
		named, err2 := root.Stat(lockName)
		held = err1 != nil || err2 != nil || !os.SameFile(mine, named)
	}
	text, err := io.ReadAll(f)
	var who holder
	known := err == nil && len(text) > 0 && json.Unmarshal(text, &who) == nil
	elsewhere := known && who.Machine != machine
	if held || elsewhere {
		return nil, nil, errors.Join(&LockedError{Dir: dir, Process: who.Process, Machine: who.Machine, Since: who.Since, Elsewhere: elsewhere}, f.Close())
	}
	if known {
		left = &who
	}
	text, err = json.Marshal(holder{os.Getpid(), machine, now})
	if err == nil {
		err = f.Truncate(0)
	}
	if err == nil {
		_, err = f.WriteAt(append(text, '\n'), 0)
	}
	if err != nil {
		return nil, nil, fmt.Errorf("lock project %s: %w", dir, errors.Join(err, f.Close()))
	}
	return &lock{root, f}, left, nil
}

// release gives the lock back.
func (l *lock) release() error {
	err := l.root.Remove(lockName)
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	return errors.Join(err, l.file.Close())
}
