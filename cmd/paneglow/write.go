package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"golang.org/x/term"
)

// writeFile makes a file whole or not at all: it writes beside it and renames.
func writeFile(path string, write func(io.Writer) error) (err error) {
	if st, err := os.Stat(path); err == nil && st.IsDir() {
		return fmt.Errorf("cannot write %s: it is a folder, name a file in it", path)
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		if errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("cannot write %s: there is no folder %s", path, filepath.Dir(path))
		}
		return fmt.Errorf("cannot write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	if err = write(f); err != nil {
		f.Close()
		return fmt.Errorf("writing %s: %w", path, err)
	}
	if err = f.Chmod(0o644); err != nil {
		f.Close()
		return fmt.Errorf("writing %s: %w", path, err)
	}
	if err = f.Close(); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return os.Rename(f.Name(), path)
}

func writeBytes(path string, b []byte) error {
	return writeFile(path, func(w io.Writer) error {
		_, err := io.Copy(w, bytes.NewReader(b))
		return err
	})
}

// isTerminal tells whether a writer is a screen that bytes would garble.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// samePath tells whether two names mean one file, there already or not.
func samePath(a, b string) bool {
	x, err1 := os.Stat(a)
	y, err2 := os.Stat(b)
	if err1 == nil && err2 == nil {
		return os.SameFile(x, y)
	}
	a, err1 = filepath.Abs(a)
	b, err2 = filepath.Abs(b)
	return err1 == nil && err2 == nil && a == b
}

// mayWrite refuses outputs that would overwrite what the show is made of, or
// each other. Empty names are no outputs.
func (p *project) mayWrite(outputs ...string) error {
	sources := map[string]string{} // file to what it is
	if p.Show != nil {
		sources[p.Show.File] = "the show itself"
		for i := range p.Show.Clips {
			for _, l := range p.Show.Clips[i].Layers {
				if l.Picture != "" {
					sources[filepath.Join(p.Show.Dir, filepath.FromSlash(l.Picture))] = "a picture of the show"
				}
				if filepath.Ext(l.Pattern) == ".star" {
					sources[filepath.Join(p.Show.Dir, filepath.FromSlash(l.Pattern))] = "a pattern of the show"
				}
			}
		}
		if p.Show.MachineFile != "" {
			sources[filepath.Join(p.Show.Dir, filepath.FromSlash(p.Show.MachineFile))] = "the machine file"
		}
	}
	if p.Machine != nil {
		sources[p.Machine.File] = "the machine file"
	}
	for i, o := range outputs {
		if o == "" {
			continue
		}
		for _, s := range slices.Sorted(maps.Keys(sources)) {
			if samePath(o, s) {
				return usageError{fmt.Errorf("%s is %s: name another file", o, sources[s])}
			}
		}
		for _, other := range outputs[:i] {
			if other != "" && samePath(o, other) {
				return usageError{fmt.Errorf("%s would be written twice: name another file", o)}
			}
		}
	}
	return nil
}
