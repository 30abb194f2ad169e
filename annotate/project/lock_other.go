//go:build !unix

package project

import (
	"errors"
	"os"
)

// tryLock has no advisory lock to ask here: a lock file with words in it counts
// as held, and says how it is removed if its holder is gone.
func tryLock(f *os.File) error {
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if info.Size() > 0 {
		return errors.New("held")
	}
	return nil
}

// locksEndWithTheProcess says that a lock cannot outlive its holder here.
const locksEndWithTheProcess = false
