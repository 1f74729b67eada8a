package model

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// stoppable refuses to write once its context has ended.
type stoppable struct {
	ctx context.Context
	w   io.Writer
}

func (s stoppable) Write(b []byte) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, err
	}
	return s.w.Write(b)
}

// writeNew writes a file under a name that nothing has yet: name, name-2, name-3.
// It is written beside and named when it is whole, and never takes the place of
// another file, even of one that appears meanwhile.
func writeNew(dir, name, ending string, write func(io.Writer) error) (path string, err error) {
	f, err := os.CreateTemp(dir, "."+name+"-*")
	if err != nil {
		return "", err
	}
	defer os.Remove(f.Name())
	err = write(f)
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Chmod(f.Name(), 0o644)
	}
	if err != nil {
		return "", err
	}
	for n := 1; n < 10000; n++ {
		path = filepath.Join(dir, name+ending)
		if n > 1 {
			path = filepath.Join(dir, fmt.Sprintf("%s-%d%s", name, n, ending))
		}
		switch err := nameNew(f.Name(), path); {
		case err == nil:
			return path, nil
		case !errors.Is(err, os.ErrExist):
			return "", err
		}
	}
	return "", fmt.Errorf("%s holds 10000 pictures named %s: move some away", dir, name)
}

// nameNew gives a file a name that must not exist.
func nameNew(from, to string) error {
	err := os.Link(from, to)
	if err == nil || errors.Is(err, os.ErrExist) {
		return err
	}
	// A file system without links, such as that of a memory stick: an empty file
	// keeps the name until the rename.
	f, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	f.Close()
	if err := os.Rename(from, to); err != nil {
		os.Remove(to)
		return err
	}
	return nil
}
