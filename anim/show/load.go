package show

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"paneglow/anim/finding"
)

// MaxFile is the most bytes of one file. A machine of MaxPixels needs a few
// kilobytes; what is larger was not meant for us.
const MaxFile = 4 << 20

// LoadMachine reads a machine file from disk; see ParseMachine. A file that
// cannot be read is a finding too.
func LoadMachine(path string) (*Machine, finding.List) {
	src, list := load(path, "machine")
	if list != nil {
		return &Machine{File: path}, list
	}
	return ParseMachine(path, src)
}

// LoadShow reads a show file from disk; see ParseShow. Dir becomes the file's
// folder.
func LoadShow(path string) (*Show, finding.List) {
	src, list := load(path, "show")
	if list != nil {
		return &Show{File: path, Dir: filepath.Dir(path)}, list
	}
	s, list := ParseShow(path, src)
	s.Dir = filepath.Dir(path)
	return s, list
}

func load(path, word string) ([]byte, finding.List) {
	fail := func(code, message, fix string) ([]byte, finding.List) {
		return nil, finding.List{finding.At(Pos{File: path}, finding.Error, code, message, fix)}
	}
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return fail("show.no_file", "there is no such file", "name the "+word+" file, or begin with: paneglow new DIR")
	}
	if err != nil {
		return fail("show.unreadable", err.Error(), "make the file readable")
	}
	defer f.Close()
	src, err := io.ReadAll(io.LimitReader(f, MaxFile+1))
	if err != nil {
		return fail("show.unreadable", err.Error(), "name the "+word+" file itself, not its folder")
	}
	if len(src) > MaxFile {
		return fail("show.too_large", fmt.Sprintf("the file has more than %d bytes", MaxFile), "name a "+word+" file")
	}
	return src, nil
}
